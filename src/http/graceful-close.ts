import type { FastifyInstance } from 'fastify';

const IDLE_SWEEP_MS = 50;

/**
 * Lets a closing server end in time without cutting a request that has begun: a keep-alive connection that is busy
 * when closing begins would otherwise hold `close()` for its whole idle time (fastify#7044). Answers given while
 * closing say `connection: close`, and connections that fall idle are ended every 50 ms.
 */
export function endKeepAliveOnClose(app: FastifyInstance): void {
  let closing = false;
  app.addHook('onSend', async (_request, reply) => {
    if (closing) reply.header('connection', 'close');
  });
  app.addHook('preClose', async () => {
    closing = true;
    const sweep = setInterval(() => app.server.closeIdleConnections(), IDLE_SWEEP_MS);
    app.server.once('close', () => clearInterval(sweep));
  });
}
