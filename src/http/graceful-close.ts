import type { Socket } from 'node:net';
import type { FastifyInstance } from 'fastify';

const SWEEP_MS = 50;

/**
 * Lets a closing server end in time without cutting a request that has begun: a keep-alive connection that is busy
 * when closing begins would otherwise hold `close()` for its whole idle time (fastify#7044), and one that was opened
 * ahead and never used, which Node does not count as idle, until it times out. Answers given while closing say
 * `connection: close`, and connections that fall idle or were never used are ended every 50 ms.
 */
export function endKeepAliveOnClose(app: FastifyInstance): void {
  let closing = false;
  const unused = new Set<Socket>();
  app.server.on('connection', (socket) => {
    unused.add(socket);
    socket.once('close', () => unused.delete(socket));
  });
  app.server.on('request', ({ socket }) => unused.delete(socket));
  app.addHook('onSend', (_request, reply, _payload, done) => {
    if (closing) reply.header('connection', 'close');
    done();
  });
  app.addHook('preClose', (done) => {
    closing = true;
    const sweep = setInterval(() => {
      app.server.closeIdleConnections();
      for (const socket of unused) if (socket.bytesRead === 0) socket.destroy();
    }, SWEEP_MS);
    app.server.once('close', () => clearInterval(sweep));
    done();
  });
}
