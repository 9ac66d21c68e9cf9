import { STATUS_CODES } from 'node:http';
import type { Socket } from 'node:net';
import { PROBLEM_JSON, problem } from './problem.ts';

const STATUS_OF: Readonly<Record<string, number>> = {
  ERR_HTTP_REQUEST_TIMEOUT: 408,
  HPE_HEADER_OVERFLOW: 431,
};

/** Answers what is no HTTP request at all, or not sent in time; there is no request that a route could answer. */
export function answerBrokenHttp(error: NodeJS.ErrnoException, socket: Socket): void {
  if (error.code === 'ECONNRESET' || socket.destroyed) return;
  const status = STATUS_OF[error.code ?? ''] ?? 400;
  const title = STATUS_CODES[status] ?? 'Bad Request';
  const body = JSON.stringify(problem(status, 'no-http-request', title, 'Send a whole HTTP/1.1 request.'));
  if (socket.writable) {
    const length = Buffer.byteLength(body);
    const head = `HTTP/1.1 ${status} ${title}\r\ncontent-length: ${length}\r\ncontent-type: ${PROBLEM_JSON}\r\n`;
    socket.write(`${head}connection: close\r\n\r\n${body}`);
  }
  socket.destroy(error);
}
