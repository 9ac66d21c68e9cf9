/** For auditors: the newest checkpoint, and proofs that an entry is in the log and that the log was only added to. */
import type { FastifyInstance, FastifyReply } from 'fastify';
import { z } from 'zod';
import { readCheckpoint, type VerifierKey, writeProof } from '../audit/checkpoint.ts';
import { cosignatureBy, writeWitnessKey } from '../audit/cosignature.ts';
import { MEND } from '../intake/native/quantity.ts';
import { registerCosignatures } from './cosignatures.ts';
import { problems } from './native/answers.ts';
import type { Parts } from './parts.ts';
import { badQuery, type Problem, problem } from './problem.ts';
import { sendProblem } from './refuse.ts';
import { type BodyDoc, json, type RouteDoc } from './route-doc.ts';
import { sendPlain } from './send-json.ts';

const size = z.number().int().nonnegative();
const count = z
  .string()
  .regex(/^(0|[1-9][0-9]{0,14})$/, { error: `is no count of entries${MEND}send digits, such as 1200` });

const overview = z
  .object({
    origin: z.string().describe('Name of the log, the first line of its checkpoints.'),
    size: size.describe('Entries in the log.'),
    checkpoint_size: size
      .nullable()
      .describe('Entries that the newest checkpoint covers; null before the first.'),
    keys: z
      .array(z.string())
      .describe(
        'Public keys that vouch for it, oldest first, as C2SP signed-note writes them; none from before a lost one was replaced.',
      ),
    told: z
      .array(
        z.object({
          to: z.string(),
          failing_since: z
            .string()
            .meta({ format: 'date-time' })
            .nullable()
            .describe('Null while it takes them.'),
        }),
      )
      .describe('Where checkpoints are told outside the database.'),
    witnesses: z
      .array(
        z.object({
          key: z.string().describe('As C2SP signed-note writes it.'),
          size: size.nullable().describe('Entries that the newest checkpoint it cosigned covers.'),
          at: z.string().meta({ format: 'date-time' }).nullable().describe('When it says that was.'),
        }),
      )
      .describe('Whose cosignatures are kept; null before the first.'),
  })
  .meta({ id: 'AuditOverview' });

const consistency = z
  .object({
    from: size,
    to: size,
    hashes: z.array(z.string()).describe('Base64, as RFC 9162, 2.1.4 orders them.'),
  })
  .meta({ id: 'ConsistencyProof' });

const text = (what: string): BodyDoc => ({ text: what, schema: z.string(), mediaType: 'text/plain' });
const NOT_YET = 'No checkpoint covers that yet.';

const DOCS = {
  overview: {
    operation: 'audit',
    summary: 'How far the log goes, who signs it and who was told',
    access: 'audit',
    concernsNobody: true,
    answers: { 200: json('The log as it is.', overview), ...problems({}) },
  },
  checkpoint: {
    operation: 'auditCheckpoint',
    summary: 'The newest checkpoint: size and root of the tree over all entries, signed',
    access: 'audit',
    concernsNobody: true,
    about:
      'C2SP tlog-checkpoint, with the cosignatures there are of it. Keep it where nobody who can change the database can reach it.',
    query: {
      cosigned: z
        .literal('true', { error: `is not true${MEND}send true, or leave it out` })
        .meta({ description: 'The newest that a witness cosigned, which may be some minutes older.' }),
    },
    answers: {
      200: text('The checkpoint.'),
      ...problems({ 400: 'The query cannot be answered as it is.', 404: NOT_YET }),
    },
  },
  proof: {
    operation: 'auditProof',
    summary: 'Proof that an entry is in the log, whole in itself',
    access: 'audit',
    concernsNobody: true,
    about:
      'C2SP tlog-proof, to be verified offline. The leaf is SHA-256 of 0x00 and the 32 bytes of the entry’s hash.',
    query: { index: count.meta({ description: 'Required: place of the entry in the whole log, from 0.' }) },
    answers: {
      200: text('The proof, with the checkpoint that it leads to.'),
      ...problems({ 400: 'The query cannot be answered as it is.', 404: NOT_YET }),
    },
  },
  consistency: {
    operation: 'auditConsistency',
    summary: 'Proof that the log of one size is the beginning of that of another',
    access: 'audit',
    concernsNobody: true,
    query: {
      from: count.meta({ description: 'Required: entries in the older tree, at least 1.' }),
      to: count.meta({
        description: 'Entries in the newer tree. Default: those that the newest checkpoint covers.',
      }),
    },
    answers: {
      200: json('The proof.', consistency),
      ...problems({ 400: 'The query cannot be answered as it is.', 404: NOT_YET }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

interface Asked {
  Querystring: {
    readonly index?: string;
    readonly from?: string;
    readonly to?: string;
    readonly cosigned?: 'true';
  };
}

export function registerAudit(app: FastifyInstance, parts: Parts): void {
  const { proof, store } = parts;
  const { log } = store;
  const newest = (): Newest | undefined => {
    const text = log.newestCheckpoint();
    const size = text === undefined ? undefined : readCheckpoint(text)?.size;
    return text === undefined || size === undefined ? undefined : { size, text };
  };

  app.get('/', { config: { doc: DOCS.overview } }, (_request, reply) =>
    sendPlain(reply, {
      origin: proof.origin,
      size: log.size(),
      checkpoint_size: newest()?.size ?? null,
      keys: proof.keys(),
      told: proof.sinks().map(({ name, failingSinceMs: ms }) => ({
        to: name,
        failing_since: ms === null ? null : new Date(ms).toISOString(),
      })),
      witnesses: proof.witnesses.map((witness) => lastWordOf(witness, log)),
    }),
  );
  app.get<Asked>('/checkpoint', { config: { doc: DOCS.checkpoint } }, ({ query }, reply) => {
    if (query.cosigned === undefined) {
      const found = newest();
      return found === undefined ? sendProblem(reply, notYet('the log')) : sendText(reply, found.text);
    }
    const cosigned = log.newestCosigned();
    return cosigned === undefined ? sendProblem(reply, NOT_COSIGNED) : sendText(reply, cosigned);
  });
  registerCosignatures(app, parts);
  app.get<Asked>('/proof', { config: { doc: DOCS.proof } }, ({ query }, reply) =>
    sendProof(reply, log, newest(), query),
  );
  app.get<Asked>('/consistency', { config: { doc: DOCS.consistency } }, ({ query }, reply) =>
    sendConsistency(reply, log, newest(), query),
  );
}

/** What it said last. */
function lastWordOf(witness: VerifierKey, log: Log) {
  const key = writeWitnessKey(witness);
  const note = readCheckpoint(log.newestBy(key) ?? '');
  const said = note === undefined ? null : cosignatureBy(note, witness);
  return {
    key,
    size: note?.size ?? null,
    at: said ? new Date(said.atS * 1000).toISOString() : null,
  };
}

/** The newest checkpoint. */
interface Newest {
  readonly size: number;
  readonly text: string;
}
type Log = Parts['store']['log'];
type Query = Asked['Querystring'];

function sendProof(
  reply: FastifyReply,
  log: Log,
  newest: Newest | undefined,
  { index }: Query,
): FastifyReply {
  if (index === undefined) return sendProblem(reply, missing('?index'));
  const at = Number(index);
  if (newest === undefined || at >= newest.size) return sendProblem(reply, notYet(`entry ${index}`));
  return sendText(reply, writeProof(at, log.inclusion(at, newest.size), newest.text));
}

function sendConsistency(
  reply: FastifyReply,
  log: Log,
  newest: Newest | undefined,
  query: Query,
): FastifyReply {
  if (query.from === undefined) return sendProblem(reply, missing('?from'));
  const from = Number(query.from);
  const to = query.to === undefined ? newest?.size : Number(query.to);
  if (to === undefined || to > log.size())
    return sendProblem(reply, notYet(`a log of ${query.to ?? from} entries`));
  if (from < 1 || from > to) return sendProblem(reply, noBeginning(query.from, to));
  const hashes = log.consistency(from, to).map((hash) => hash.toString('base64'));
  return sendPlain(reply, { from, to, hashes });
}

const sendText = (reply: FastifyReply, body: string): FastifyReply =>
  reply.type('text/plain; charset=utf-8').send(body);

const notYet = (what: string): Problem =>
  problem(
    404,
    'no-checkpoint',
    'No checkpoint covers that',
    `No checkpoint covers ${what} yet: ask again a second after it was written, or for less. ` +
      'Without DRAINLEDGER_CHECKPOINT_KEY the service signs none.',
  );

const NOT_COSIGNED = problem(
  404,
  'no-checkpoint',
  'No checkpoint was cosigned yet',
  'No witness has cosigned a checkpoint: name witnesses in DRAINLEDGER_WITNESSES, and see that each runs.',
);

const missing = (pointer: string): Problem =>
  badQuery([{ pointer, value: undefined, detail: 'is missing', mend: 'send a count of entries' }]);

const noBeginning = (from: string, to: number): Problem =>
  badQuery([
    {
      pointer: '?from',
      value: JSON.stringify(from),
      detail: `is not the size of a beginning of a log of ${to} entries`,
      mend: `send 1 to ${to}`,
    },
  ]);
