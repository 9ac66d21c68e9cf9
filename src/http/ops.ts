/** Whether the process lives and can write. Readiness does not depend on the EHR: delivery can wait, readings cannot. */
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { StoreReadOnly } from '../store/port.ts';
import { readOnlyProblem } from './failures.ts';
import { problems } from './native/answers.ts';
import type { Parts } from './parts.ts';
import { problem } from './problem.ts';
import { sendProblem } from './refuse.ts';
import { json, type RouteDoc } from './route-doc.ts';

const deliveries = z
  .array(z.object({ target: z.string(), state: z.string(), count: z.number().int() }))
  .describe('How many drains wait for each receiver, and what it refused.');

const DOCS = {
  live: {
    operation: 'live',
    access: 'public',
    summary: 'Whether the process lives',
    answers: { 200: json('It does.', z.object({ alive: z.literal(true) })), ...problems({}) },
  },
  ready: {
    operation: 'ready',
    access: 'public',
    summary: 'Whether entries can be taken',
    answers: {
      200: json('They can.', z.object({ ready: z.literal(true), deliveries })),
      ...problems({ 503: 'The store cannot write, or may not: the problem says why.' }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerOps(app: FastifyInstance, { store }: Parts): void {
  app.get('/livez', { config: { doc: DOCS.live } }, async () => ({ alive: true }));

  app.get('/readyz', { config: { doc: DOCS.ready } }, async (_request, reply) => {
    try {
      store.check();
    } catch (error) {
      if (error instanceof StoreReadOnly) return sendProblem(reply, readOnlyProblem(error));
      return sendProblem(
        reply,
        problem(503, 'not-ready', 'The store cannot write', 'See the log of the service.'),
      );
    }
    return { ready: true, deliveries: store.deliveryCounts() };
  });
}
