/** Whether the process lives and can write. Readiness does not depend on the EHR: delivery can wait, readings cannot. */
import type { FastifyInstance } from 'fastify';
import type { Parts } from './parts.ts';
import { problem, sendProblem } from './problem.ts';

export function registerOps(app: FastifyInstance, { store }: Parts): void {
  app.get('/livez', async () => ({ alive: true }));

  app.get('/readyz', async (_request, reply) => {
    try {
      store.check();
    } catch {
      return sendProblem(
        reply,
        problem(503, 'not-ready', 'The store cannot write', 'See the log of the service.'),
      );
    }
    return { ready: true, deliveries: store.deliveryCounts() };
  });
}
