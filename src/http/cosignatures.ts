/** Where witnesses bring their word on a checkpoint. */
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { type Note, readCheckpoint, type VerifierKey } from '../audit/checkpoint.ts';
import { cosignatureBy, type WitnessWord, writeWitnessKey } from '../audit/cosignature.ts';
import { shortened } from '../intake/fault.ts';
import { acceptBytes } from './body.ts';
import { problems } from './native/answers.ts';
import type { Parts } from './parts.ts';
import { type Problem, problemOfFaults } from './problem.ts';
import { sendProblem } from './refuse.ts';
import { json, type RouteDoc } from './route-doc.ts';
import { sendPlain } from './send-json.ts';

const PLAIN = 'text/plain';
/** Room for some forty of them. */
const MOST_BYTES = 8 * 1024;

const kept = z
  .object({
    size: z.number().int().nonnegative().describe('Entries that the checkpoint covers.'),
    witnesses: z.array(z.string()).describe('Public keys of those whose word is kept.'),
  })
  .meta({ id: 'CosignatureKept' });

const DOC: RouteDoc = {
  operation: 'auditCosign',
  summary: 'Takes the word of a witness on a checkpoint: C2SP tlog-cosignature',
  access: 'audit',
  concernsNobody: true,
  about:
    'The body is a checkpoint as it was served, with the line of the witness after those of the log. It is kept where the ' +
    'witness is one of DRAINLEDGER_WITNESSES, its signature fits, and the checkpoint is one of this log. Sent again it changes nothing.',
  body: z.string(),
  bodyTypes: [PLAIN],
  answers: {
    200: json('It is on disk.', kept),
    ...problems({
      404: 'No such checkpoint was signed here.',
      409: 'Another was signed here of so many entries: somebody shows two histories.',
      422: 'It is no checkpoint, or nothing of it is the word of a witness; nothing was written.',
      503: 'It cannot be kept now.',
    }),
  },
};

export function registerCosignatures(app: FastifyInstance, { store, proof }: Parts): void {
  app.register(async (plain) => {
    plain.removeAllContentTypeParsers();
    acceptBytes(plain, [PLAIN]);
    plain.post('/cosignatures', { config: { doc: DOC }, bodyLimit: MOST_BYTES }, async (request, reply) => {
      const read = readWords(String(request.body ?? ''), proof.witnesses);
      if ('status' in read) return sendProblem(reply, read);
      const own = store.log.checkpointAt(read.note.size);
      const fault = whyNot(read.note, own === undefined ? undefined : readCheckpoint(own));
      if (fault !== null) return sendProblem(reply, fault);
      await store.cosign(read.note.size, read.words);
      return sendPlain(reply, {
        size: read.note.size,
        witnesses: read.words.map(({ witness }) => witness),
      });
    });
  });
}

interface Read {
  readonly note: Note;
  readonly words: readonly WitnessWord[];
}

function readWords(text: string, witnesses: readonly VerifierKey[]): Read | Problem {
  const note = readCheckpoint(text);
  if (note === undefined)
    return refused(
      422,
      text.slice(0, 40),
      'is no checkpoint',
      'send it as it was served, with your line after its lines',
    );
  const words: WitnessWord[] = [];
  for (const witness of witnesses) {
    const said = cosignatureBy(note, witness);
    if (said === false)
      return refused(422, witness.name, 'signed something else', 'cosign the checkpoint as it was served');
    if (said !== null) words.push({ witness: writeWitnessKey(witness), line: said.line });
  }
  if (words.length > 0) return { note, words };
  const signers = note.signatures.map(({ name, keyId }) => `${name}+${keyId}`).join(' ');
  return refused(422, signers, 'is no witness of this log', 'name its public key in DRAINLEDGER_WITNESSES');
}

/** A checkpoint that was not signed here proves that somebody signed another one of so many entries. */
function whyNot(note: Note, kept: Note | undefined): Problem | null {
  const size = String(note.size);
  if (kept === undefined)
    return refused(404, size, 'is the size of no checkpoint that is kept', 'cosign the newest one');
  if (kept.body === note.body) return null;
  return refused(
    409,
    size,
    'is the size of another checkpoint than the one that is kept',
    'keep both, and tell who answers for this log: they show two histories',
  );
}

function refused(status: number, value: string, detail: string, mend: string): Problem {
  const slug = { 404: 'no-checkpoint', 409: 'other-history' }[status] ?? 'no-cosignature';
  return problemOfFaults(status, slug, 'The cosignature was not kept', [
    { pointer: '', value: shortened(value), detail, mend },
  ]);
}
