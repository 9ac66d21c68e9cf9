import { STATUS_CODES } from 'node:http';
import type { Socket } from 'node:net';
import { FHIR_BASE, FHIR_JSON, outcomeText } from './fhir/outcomes.ts';
import { PROBLEM_JSON, problem } from './problem.ts';

const STATUS_OF: Readonly<Record<string, number>> = {
  ERR_HTTP_REQUEST_TIMEOUT: 408,
  HPE_HEADER_OVERFLOW: 431,
};

const TOO_LONG =
  'URL and headers are over 16 KiB: send less of them; a search of FHIR can be a form, POSTed to _search.';

interface Broken extends NodeJS.ErrnoException {
  /** The bytes that came last. */
  readonly rawPacket?: unknown;
}

/** Answers what is no HTTP request at all, or not sent in time; there is no request that a route could answer. */
export function answerBrokenHttp(error: Broken, socket: Socket): void {
  if (error.code === 'ECONNRESET' || socket.destroyed) return;
  const status = STATUS_OF[error.code ?? ''] ?? 400;
  const title = STATUS_CODES[status] ?? 'Bad Request';
  const detail = status === 431 ? TOO_LONG : 'Send a whole HTTP/1.1 request.';
  const told = problem(status, 'no-http-request', title, detail);
  const [type, body] = isFhir(error) ? [FHIR_JSON, outcomeText(told)] : [PROBLEM_JSON, JSON.stringify(told)];
  if (socket.writable) {
    const length = Buffer.byteLength(body);
    const head = `HTTP/1.1 ${status} ${title}\r\ncontent-length: ${length}\r\ncontent-type: ${type}\r\n`;
    socket.write(`${head}connection: close\r\n\r\n${body}`);
  }
  socket.destroy(error);
}

/** As far as can be told: what came in pieces has lost its beginning. */
const isFhir = ({ rawPacket }: Broken): boolean =>
  Buffer.isBuffer(rawPacket) &&
  new RegExp(`^[A-Z]+ ${FHIR_BASE}[/?]`).test(rawPacket.subarray(0, 20).toString('latin1'));
