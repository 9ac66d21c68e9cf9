/** Live: what is charted, as it becomes durable; of one drain with all of its patient, or of the ward. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { LIST, READ } from '../../auth/scope.ts';
import { shown } from '../../intake/fault.ts';
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
\`recorded_at\`, and what follows from it is asked for. \`now\`: where the reader stands. \`reset\`: too much was missed (over
${LIVE_LIMITS.mostMissed} entries), ask anew for all that is shown. The id of an event is its place in the ledger: send the last one as
\`Last-Event-ID\` to be told what was missed. A reader that is too slow is let go and may come back. Not an alarm: a
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
    const subject = store.recentBooks(drain);
    if (!subject.has(drain)) return sendProblem(reply, noSuchDrain(drain));
    const together = new Set(subject.keys());
    // A client that is confined hears of nothing beyond, not even that there is something.
    const mayHearOf = (of: string) => reachesDrain(request.principal, of, store);
    return begin(
      request,
      reply,
      (of, concerns) => concerns.some((each) => together.has(each)) && mayHearOf(of),
    );
  });
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
