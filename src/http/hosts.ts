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
  /** As it was sent: a client goes on calling us by the name that it began with. */
  let lastOfOurs: string | null = null;
  function isOurs(host: string): boolean {
    if (host === lastOfOurs) return true;
    const name = nameIn(host);
    if (!isLoopback(name) && name !== new URL(publicUrl()).hostname) return false;
    lastOfOurs = host;
    return true;
  }
  app.addHook('onRequest', (request, reply, done) => {
    const { host } = request.headers;
    // Every browser sends one.
    if (host === undefined || isOurs(host)) done();
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
