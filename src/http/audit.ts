/** For auditors: the newest checkpoint, and proofs that an entry is in the log and that the log was only added to. */
import type { FastifyInstance, FastifyReply } from 'fastify';
import { readCheckpoint, type VerifierKey, writeProof } from '../audit/checkpoint.ts';
import { cosignatureBy, writeWitnessKey } from '../audit/cosignature.ts';
import { AUDIT_DOCS } from './audit-docs.ts';
import { registerCosignatures } from './cosignatures.ts';
import type { Parts } from './parts.ts';
import { badQuery, type Problem, problem } from './problem.ts';
import { sendProblem } from './refuse.ts';
import { sendPlain } from './send-json.ts';

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

  app.get('/', { config: { doc: AUDIT_DOCS.overview } }, (_request, reply) =>
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
  app.get<Asked>('/checkpoint', { config: { doc: AUDIT_DOCS.checkpoint } }, ({ query }, reply) => {
    if (query.cosigned === undefined) {
      const found = newest();
      return found === undefined ? sendProblem(reply, notYet('the log')) : sendText(reply, found.text);
    }
    const cosigned = log.newestCosigned();
    return cosigned === undefined ? sendProblem(reply, NOT_COSIGNED) : sendText(reply, cosigned);
  });
  registerCosignatures(app, parts);
  app.get<Asked>('/proof', { config: { doc: AUDIT_DOCS.proof } }, ({ query }, reply) =>
    sendProof(reply, log, newest(), query),
  );
  app.get<Asked>('/consistency', { config: { doc: AUDIT_DOCS.consistency } }, ({ query }, reply) =>
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
