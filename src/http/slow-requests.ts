/**
 * Ends requests whose sender is too slow: a connection costs a sender nothing, and holds a place here.
 * Node's own limit is on the whole request, and would end a long stream that comes as it should.
 */
import { IncomingMessage, type ServerResponse } from 'node:http';
import type { FastifyInstance } from 'fastify';
import { answerBrokenHttp } from './broken-http.ts';

const HEADERS_MS = 10_000;
const BODY_MS = 10_000;

/** @param bodyMs how long a body may take; of one that may go on, how long it may pause */
export function cutSlowRequests(app: FastifyInstance, bodyMs = BODY_MS): void {
  app.server.headersTimeout = HEADERS_MS;
  app.addHook('onRequest', ({ raw, routeOptions }, reply, done) => {
    // What is asked inside the service has no connection.
    if (raw instanceof IncomingMessage && hasBody(raw))
      watch(raw, reply.raw, routeOptions.config.doc?.streams === true, bodyMs);
    done();
  });
}

/**
 * Whether a body is announced (RFC 9112, 6.3). Without one nothing more is awaited from the sender, yet Node calls the
 * message complete only once somebody reads it, which for a long answer to a GET is never.
 */
const hasBody = ({ headers }: IncomingMessage): boolean =>
  headers['transfer-encoding'] !== undefined || Number(headers['content-length'] ?? 0) > 0;

/** @param mayGoOn only a body that stopped coming is cut */
function watch(raw: IncomingMessage, answer: ServerResponse, mayGoOn: boolean, bodyMs: number): void {
  const { socket } = raw;
  let received = socket.bytesRead;
  const timer = setInterval(() => {
    const isComing = socket.bytesRead > received;
    received = socket.bytesRead;
    // What has come and is not read yet waits for us, not for the sender.
    const waitsForSender = raw.readableLength === 0;
    if (mayGoOn && (isComing || !waitsForSender)) return;
    clearInterval(timer);
    // Into an answer that has begun no other can be written: that it ends too early says enough.
    if (answer.headersSent) socket.destroy();
    else answerBrokenHttp(Object.assign(new Error('too slow'), { code: 'ERR_HTTP_REQUEST_TIMEOUT' }), socket);
  }, bodyMs);
  const over = (): void => clearInterval(timer);
  raw.once('end', over).once('close', over);
}
