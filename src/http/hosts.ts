/** Under which names the service answers where nobody is asked who they are. */
import type { FastifyInstance } from 'fastify';
import { isLoopback } from '../auth/loopback.ts';
import type { Parts } from './parts.ts';
import { problem } from './problem.ts';
import { refuse } from './refuse.ts';

/**
 * Loopback alone keeps no web site out: one whose name is made to point at this machine reads and charts as if it were our
 * page (DNS rebinding). Its browser still says by which name it came.
 */
export function answerOnlyAsLoopback(app: FastifyInstance, { publicUrl }: Parts): void {
  const isOurs = (name: string): boolean => isLoopback(name) || name === new URL(publicUrl()).hostname;
  app.addHook('onRequest', (request, reply, done) => {
    const { host } = request.headers;
    // Every browser sends one.
    if (host === undefined || isOurs(nameIn(host))) done();
    else
      refuse(
        request,
        reply,
        problem(
          421,
          'other-host',
          'This name is not answered in development mode',
          `host ${JSON.stringify(host.slice(0, 100))} is no name of this machine: ask localhost, or start the service with DRAINLEDGER_ACCESS`,
        ),
      );
  });
}

function nameIn(host: string): string {
  try {
    return new URL(`http://${host}`).hostname;
  } catch {
    return '';
  }
}
