/** Live: what is charted, as it becomes durable; of one drain with all of its patient, or of the ward. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { LIST, READ } from '../../auth/scope.ts';
import { isSamePatient } from '../../domain/fold/drain.ts';
import { shown } from '../../intake/fault.ts';
import type { Committed, Store } from '../../store/port.ts';
import { accessesOf } from '../accesses.ts';
import { reachesDrain } from '../allowed.ts';
import { createLive, type IsWanted, LIVE_LIMITS, type Live } from '../live.ts';
import type { Parts } from '../parts.ts';
import { noSuchDrain, type Problem, problem, problemOfFaults } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import type { RouteDoc } from '../route-doc.ts';
import { problems } from './answers.ts';

interface OfLive {
  Params: { drain: string };
}

const ABOUT =
  `Server-sent events. \`entry\`: an entry is durable; its data are \`drain\`, \`sequence\`, \`kind\` and
\`recorded_at\`, and what follows from it is asked for. \`now\`, at first and every ${LIVE_LIMITS.beatMs / 1000} s: where the reader stands; once none came
for twice as long, take the connection for lost. \`reset\`: too much was missed (over ${LIVE_LIMITS.mostMissed} entries), ask anew for all that
is shown. The id of an event is its place in the ledger: send the last one as \`Last-Event-ID\` to be told what was missed. A
stream ends after ${LIVE_LIMITS.longestMs / 60_000} min, and a reader that is too slow is let go: come back. At most ${LIVE_LIMITS.mostReaders} may listen. Not an alarm: a
connection may be lost unseen.`.replaceAll('\n', ' ');

const EVENTS = {
  text: 'Events, until either side ends it.',
  schema: z.string(),
  mediaType: 'text/event-stream',
};
const REFUSALS = { 400: '`Last-Event-ID` is no id of an event.', 503: 'Too many are listening.' };

const DOCS = {
  ofDrain: {
    operation: 'drainLive',
    access: READ,
    summary: 'What is charted of a drain, or of another drain of its patient, as it happens',
    about: ABOUT,
    answers: { 200: EVENTS, ...problems({ ...REFUSALS, 404: 'There is no such drain.' }) },
  },
  ofWard: {
    operation: 'overviewLive',
    access: LIST,
    summary: 'What is charted of any drain, as it happens',
    about: ABOUT,
    answers: { 200: EVENTS, ...problems(REFUSALS) },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerLive(app: FastifyInstance, parts: Parts): void {
  const { store } = parts;
  const live = createLive(store);
  app.addHook('preClose', (done) => {
    live.close();
    done();
  });

  const begin = beginning(parts, live);
  app.get('/overview/live', { config: { doc: DOCS.ofWard } }, (request, reply) =>
    begin(request, reply, () => true),
  );
  app.get<OfLive>('/drains/:drain/live', { config: { doc: DOCS.ofDrain } }, (request, reply) => {
    const { drain } = request.params;
    if (!store.recentBooks(drain).has(drain)) return sendProblem(reply, noSuchDrain(drain));
    const together = new Set([drain, ...store.siblings(drain)]);
    const concernsThem: IsWanted = (entry, concerns) =>
      (concerns ?? [entry.drain]).some((each) => together.has(each)) ||
      (concerns === null && wereTogether(store, drain, entry));
    // A client that is confined hears of nothing beyond, not even that there is something.
    return begin(
      request,
      reply,
      (entry, concerns) =>
        concernsThem(entry, concerns) && reachesDrain(request.principal, entry.drain, store),
    );
  });
}

/** Whether both were of one patient until the entry, which may have parted them. */
function wereTogether(store: Store, drain: string, { drain: other, logIndex }: Committed): boolean {
  const patient = store.patientOf(drain, logIndex - 1);
  return patient !== null && isSamePatient(patient, store.patientOf(other, logIndex - 1) ?? undefined);
}

/** Begins a stream that is asked for, once that is in the ledger. */
function beginning(parts: Parts, live: Live) {
  return async (request: FastifyRequest, reply: FastifyReply, isWanted: IsWanted): Promise<FastifyReply> => {
    const said = request.headers['last-event-id'];
    if (said !== undefined && !/^-?\d{1,15}$/.test(String(said)))
      return sendProblem(reply, badId(String(said)));
    if (live.isFull()) return sendProblem(reply.header('retry-after', 5), FULL);
    // One access a stream: it says that something was charted, and what it was is asked for.
    await parts.accesses.note(accessesOf(request, 200, parts));
    // What all answers say to browsers, this one says too.
    for (const [name, value] of Object.entries(reply.getHeaders()))
      if (value !== undefined) reply.raw.setHeader(name, value);
    reply.hijack();
    live.begin(reply.raw, isWanted, said === undefined ? null : Number(said));
    return reply;
  };
}

const badId = (said: string): Problem =>
  problemOfFaults(400, 'bad-header', 'The stream cannot begin where it was asked to', [
    {
      pointer: 'last-event-id',
      value: shown(said),
      detail: 'is no id of an event',
      mend: 'send the id of the last event, or leave it out',
    },
  ]);

const FULL = problem(503, 'too-many-readers', 'Too many are listening', 'Try again a little later.');
