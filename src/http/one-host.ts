import type { FastifyInstance } from 'fastify';
import { problem } from './problem.ts';
import { refuse } from './refuse.ts';

/**
 * RFC 9112, 3.2: a request of HTTP/1.1 names one host. Of two, a proxy on the way may have looked at the other; of these
 * the platform would tell only the first, and to a request without one it answers by itself, with nothing in it.
 */
export function refuseOddHosts(app: FastifyInstance): void {
  app.addHook('onRequest', (request, reply, done) => {
    const { rawHeaders, httpVersion } = request.raw;
    const named = rawHeaders.filter((each, n) => n % 2 === 0 && each.toLowerCase() === 'host').length;
    if (named === 1 || (named === 0 && httpVersion === '1.0')) done();
    else
      refuse(
        request,
        reply,
        problem(
          400,
          'bad-header',
          'The request names no host, or several',
          `host stands ${named} times: send it once`,
        ),
      );
  });
}
