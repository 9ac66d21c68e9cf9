/** The receivers: whether they take what is sent, and what staff have done about it. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { z } from 'zod';
import { parseInstant } from '../../domain/numbers/instant.ts';
import { order, readOrder, replayOrder, requeueOrder } from '../../intake/native/orders.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { leftTargets } from '../../record/left-targets.ts';
import { canWrite } from '../can-write.ts';
import type { Parts } from '../parts.ts';
import { faulty, noSuch, type Problem } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { done, replayed, targets, targetView, UNCONFIGURED } from './delivery-answers.ts';

interface OfTarget {
  Params: { readonly target: string };
}

const NOT_DONE = problems({
  404: 'There is no such target.',
  422: 'The message shows by itself that it is wrong.',
  503: 'The store cannot write now.',
});

const DOCS = {
  list: {
    operation: 'targets',
    access: 'operate',
    concernsNobody: true,
    summary: 'The receivers, and what waits for each',
    answers: {
      200: json('Those that are configured, and those that were and that something waits for.', targets),
      ...problems({}),
    },
  },
  requeue: {
    operation: 'requeueTarget',
    access: 'operate',
    summary: 'Send again all that a target refused',
    body: requeueOrder,
    answers: { 200: json('How many deliveries.', done), ...NOT_DONE },
  },
  replay: {
    operation: 'replayToTarget',
    access: 'operate',
    summary: 'Send again what was recorded in a period',
    about:
      'For a new target, or one that lost what it had. Facts go as they now stand; those that are there are not doubled.',
    body: replayOrder,
    answers: { 200: json('How many drains have anything in the period.', replayed), ...NOT_DONE },
  },
  resume: {
    operation: 'resumeTarget',
    access: 'operate',
    summary: 'Try a target at once that rests or is parked',
    body: order,
    answers: { 200: json('As it stands now.', targets), ...NOT_DONE },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerTargets(app: FastifyInstance, parts: Parts): void {
  const { store, now, delivery } = parts;

  app.get('/targets', { config: { doc: DOCS.list } }, (_request, reply) => sendTargets(parts, reply));

  app.post<OfTarget>('/targets/:target/requeue', { config: { doc: DOCS.requeue } }, (request, reply) =>
    ordered(parts, request, reply, requeueOrder, async (target, { drain, ...by }) => {
      const filter = { target, ...(drain === undefined ? {} : { drain }) };
      return sendPlain(reply, { deliveries: await store.requeue(filter, by, now()) });
    }),
  );

  app.post<OfTarget>('/targets/:target/replay', { config: { doc: DOCS.replay } }, (request, reply) =>
    ordered(parts, request, reply, replayOrder, async (target, { drain, from, to, ...by }) => {
      const period = { fromMs: parseInstant(from)?.ms ?? 0, toMs: parseInstant(to)?.ms ?? 0 };
      if (period.fromMs >= period.toMs) return sendProblem(reply, backwards(to));
      return sendPlain(reply, { drains: await store.replay(target, drain ?? null, period, by, now()) });
    }),
  );

  app.post<OfTarget>('/targets/:target/resume', { config: { doc: DOCS.resume } }, (request, reply) =>
    ordered(parts, request, reply, order, async (target, by) => {
      await delivery.resume(target, by);
      return sendTargets(parts, reply);
    }),
  );
}

function sendTargets({ store, delivery }: Parts, reply: FastifyReply): FastifyReply {
  const configured = delivery.status();
  const names = configured.map(({ target }) => target);
  // Nothing is delivered from a ledger that is only read, whatever is configured.
  const left = canWrite(store) ? leftTargets(store, names) : [];
  return sendPlain(reply, {
    targets: [
      ...configured.map((each) => targetView(each, store.backlog(each.target))),
      ...left.map((each) => targetView({ ...UNCONFIGURED, ...each }, each)),
    ],
  });
}

async function ordered<T>(
  { delivery }: Parts,
  { params: { target }, body, principal }: FastifyRequest<OfTarget>,
  reply: FastifyReply,
  schema: z.ZodType<T>,
  run: (target: string, order: T & { readonly client: string }) => Promise<FastifyReply>,
): Promise<FastifyReply> {
  const names = delivery.status().map((each) => each.target);
  if (!names.includes(target)) return sendProblem(reply, noSuchTarget(target, names));
  const read = readOrder(schema, body as ExactValue);
  return 'faults' in read
    ? sendProblem(reply, faulty(read.faults))
    : run(target, { ...read.order, client: principal.client });
}

function noSuchTarget(target: string, names: readonly string[]): Problem {
  const mend =
    names.length === 0 ? 'none is configured: see DRAINLEDGER_TARGETS' : `send one of ${names.join(', ')}`;
  return noSuch('target', target, mend);
}

const backwards = (to: string): Problem =>
  faulty([
    { pointer: '/to', value: JSON.stringify(to), detail: 'is not after from', mend: 'send a later time' },
  ]);
