/** What is under way to the record, what it refused, and what staff have done about it. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { order, readOrder } from '../../intake/native/orders.ts';
import { MEND } from '../../intake/native/quantity.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import {
  type ByWhom,
  DELIVERY_STATES,
  type DeliveryName,
  type DeliveryState,
} from '../../store/delivery-port.ts';
import type { Parts } from '../parts.ts';
import { faulty, noSuch, type Problem, problem } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { deliveriesPage, deliveryView, done, eventsPage, eventView, nameOf } from './delivery-answers.ts';
import { pageOf } from './pages.ts';

interface Asked {
  Querystring: {
    readonly target?: string;
    readonly drain?: string;
    readonly state?: DeliveryState;
    readonly after?: string;
  };
}
interface OfDelivery {
  Params: { readonly delivery: string };
}

const PAGE = 100;
const NAME = /^([a-z0-9-]{1,40})\.([a-z0-9]{1,64})\.(\d{1,15})$/;

const text = z.string().max(64);
const ofTarget = text.describe('Only to this target.');
const ofDrain = text.describe('Only of this drain.');
const afterDelivery = z
  .string()
  .regex(NAME, { error: `is no delivery${MEND}send the next_after of the page before` })
  .describe('`next_after` of the page before.');
const afterEvent = z
  .string()
  .regex(/^\d{1,15}$/, { error: `is no event${MEND}send the next_after of the page before` })
  .describe('`next_after` of the page before.');

const NOT_DONE = problems({
  404: 'There is no such delivery.',
  409: 'The delivery is not in a state in which this can be done.',
  422: 'The message shows by itself that it is wrong.',
  503: 'The store cannot write now.',
});

const DOCS = {
  list: {
    operation: 'deliveries',
    access: 'operate',
    summary: 'What is under way to the targets, and what was set aside',
    about:
      'Of each drain and target the one that is being tried; more may wait behind it. `accepted`, `dead` and `skipped` are set aside: the drain has gone on. What was delivered is in the events.',
    query: { target: ofTarget, drain: ofDrain, state: z.enum(DELIVERY_STATES), after: afterDelivery },
    answers: {
      200: json(`A page of ${PAGE}, by target, drain and place in the ledger.`, deliveriesPage),
      ...problems({}),
    },
  },
  events: {
    operation: 'deliveryEvents',
    access: 'operate',
    summary: 'Every step of every delivery, as it was written',
    query: { target: ofTarget, drain: ofDrain, after: afterEvent },
    answers: { 200: json(`A page of ${PAGE}, oldest first.`, eventsPage), ...problems({}) },
  },
  requeue: {
    operation: 'requeueDelivery',
    access: 'operate',
    summary: 'Send again what was set aside',
    about: 'Its facts go as they stand when it is sent, so that nothing older overtakes what is newer.',
    body: order,
    answers: { 200: json('It will be sent again.', done), ...NOT_DONE },
  },
  skip: {
    operation: 'skipDelivery',
    access: 'operate',
    summary: 'Give up a delivery that waits or was refused',
    about: 'The target will miss what it says. The drain goes on with what follows.',
    body: order,
    answers: { 200: json('It will not be sent.', done), ...NOT_DONE },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerDeliveries(app: FastifyInstance, { store, now }: Parts): void {
  app.get<Asked>('/deliveries', { config: { doc: DOCS.list } }, (request, reply) => {
    const { after, ...filter } = request.query;
    const found = store.deliveries(filter, after === undefined ? null : namedBy(after), PAGE + 1);
    const { page, next_after } = pageOf(found, PAGE, nameOf);
    request.shown = page.map(({ drain }) => drain);
    return sendPlain(reply, { deliveries: page.map(deliveryView), next_after });
  });

  app.get<Asked>('/deliveries/events', { config: { doc: DOCS.events } }, (request, reply) => {
    const { after = '0', target, drain } = request.query;
    const filter = { ...(target === undefined ? {} : { target }), ...(drain === undefined ? {} : { drain }) };
    const found = store.deliveryEvents(filter, Number(after), PAGE + 1);
    const { page, next_after } = pageOf(found, PAGE, ({ event }) => event);
    request.shown = page.flatMap(({ drain }) => drain ?? []);
    return sendPlain(reply, { events: page.map(eventView), next_after });
  });

  app.post<OfDelivery>('/deliveries/:delivery/requeue', { config: { doc: DOCS.requeue } }, (request, reply) =>
    ordered(request, reply, async (name, by) => {
      const { target, drain, logIndex } = name;
      return (await store.requeue({ target, drain, logIndex }, by, now())) > 0 ? null : NOT_ASIDE;
    }),
  );

  app.post<OfDelivery>('/deliveries/:delivery/skip', { config: { doc: DOCS.skip } }, (request, reply) =>
    ordered(request, reply, async (name, by) => ((await store.skip(name, by, now())) ? null : NOT_WAITING)),
  );
}

async function ordered(
  request: FastifyRequest<OfDelivery>,
  reply: FastifyReply,
  run: (name: DeliveryName, by: ByWhom) => Promise<Problem | null>,
): Promise<FastifyReply> {
  const { params, body, principal } = request;
  const name = namedBy(params.delivery);
  request.shown = name === null ? [] : [name.drain];
  if (name === null)
    return sendProblem(reply, noSuch('delivery', params.delivery, 'take one of GET /v1/deliveries'));
  const read = readOrder(order, body as ExactValue);
  if ('faults' in read) return sendProblem(reply, faulty(read.faults));
  const stands = await run(name, { ...read.order, client: principal.client });
  return stands === null ? sendPlain(reply, { deliveries: 1 }) : sendProblem(reply, stands);
}

function namedBy(text: string): DeliveryName | null {
  const [, target, drain, index] = NAME.exec(text) ?? [];
  if (target === undefined || drain === undefined) return null;
  return { target, drain, logIndex: Number(index) };
}

const NOT_ASIDE = problem(
  409,
  'not-set-aside',
  'Nothing was set aside under this name',
  'Only what is dead, skipped or accepted can be sent again: see GET /v1/deliveries.',
);
const NOT_WAITING = problem(
  409,
  'not-waiting',
  'No delivery waits or is dead under this name',
  'One that is being sent cannot be skipped: see GET /v1/deliveries, and try again once it waits.',
);
