/**
 * One HTTP request, sent once: it follows no redirect, sends nothing again, and bounds what it waits for and reads.
 * The delivery loop is the only thing that sends again.
 */

import type { ClientRequest, IncomingMessage } from 'node:http';
import { Agent as PlainAgent, request as plainRequest, type RequestOptions } from 'node:http';
import { Agent as TlsAgent, request as tlsRequest } from 'node:https';
import { gunzipSync } from 'node:zlib';

export interface HttpRequest {
  readonly method: 'GET' | 'POST' | 'PUT';
  readonly url: string;
  readonly headers: Readonly<Record<string, string>>;
  readonly body?: string;
  /** The same, where it has been made. */
  readonly bytes?: Buffer;
}

export interface HttpAnswer {
  readonly status: number;
  readonly headers: Readonly<Record<string, string | undefined>>;
  /** Null when it was cut, was too long or did not end in time. */
  readonly body: string | null;
}

/** @throws {NotSent} @throws {NoAnswer} */
export type SendHttp = (request: HttpRequest) => Promise<HttpAnswer>;

/** No byte of the request left: nothing can have come of it. The message is a code. */
export class NotSent extends Error {}

/** It left, and nobody knows what came of it. The message is a code. */
export class NoAnswer extends Error {}

export interface HttpOptions {
  /** For the whole of request and answer, ms. */
  readonly timeoutMs: number;
  /** Asked before each request, so that a certificate may be renewed while we run: what changed is shown on new connections. */
  readonly tls: (() => ClientTls) | null;
}

/** Client certificate and trust, as PEM. */
export interface ClientTls {
  readonly cert?: string;
  readonly key?: string;
  readonly ca?: string;
}

/** A CapabilityStatement of a server that takes every type of R4 has some 2 MB (common practice, no source). */
const MOST_BYTES = 4 * 1024 * 1024;
/** Shorter than servers keep a connection (5 s is common), so that a request seldom meets one that is being closed. */
const IDLE_MS = 4000;

export interface Http {
  readonly send: SendHttp;
  close(): void;
}

export function createHttp({ timeoutMs, tls }: HttpOptions): Http {
  const agent = { keepAlive: true, timeout: IDLE_MS };
  const plain = new PlainAgent(agent);
  const secure = new TlsAgent({ ...agent, minVersion: 'TLSv1.2' });
  return {
    async send(request) {
      if (!request.url.startsWith('https:')) return send(request, plain, timeoutMs);
      return send(request, secure, timeoutMs, read(tls));
    },
    close() {
      plain.destroy();
      secure.destroy();
    },
  };
}

/** @throws {NotSent} */
function read(tls: HttpOptions['tls']): ClientTls {
  try {
    return tls?.() ?? {};
  } catch (error) {
    throw new NotSent(error instanceof Error ? error.message : String(error));
  }
}

function send(
  asked: HttpRequest,
  agent: PlainAgent,
  timeoutMs: number,
  tls: ClientTls = {},
): Promise<HttpAnswer> {
  const { method, url, headers } = asked;
  // Made bytes once: to count them first would go through all of it twice.
  const bytes = asked.bytes ?? (asked.body === undefined ? undefined : Buffer.from(asked.body));
  return new Promise((resolve, reject) => {
    const isSecure = agent instanceof TlsAgent;
    const length = bytes === undefined ? {} : { 'content-length': bytes.length };
    const options: RequestOptions = { method, headers: { ...PLAIN, ...headers, ...length }, agent, ...tls };
    const request = begin(isSecure ? tlsRequest : plainRequest, url, options);
    let hasLeft = false;
    let received: IncomingMessage | null = null;
    const timer = setTimeout(() => {
      if (received === null) request.destroy(codedError('no answer in time'));
      else received.destroy();
    }, timeoutMs);
    request.on('socket', (socket) => {
      if (!socket.connecting) hasLeft = true;
      else socket.once(isSecure ? 'secureConnect' : 'connect', () => (hasLeft = true));
    });
    request.on('response', (response) => {
      received = response;
      readBody(response, (text) => {
        clearTimeout(timer);
        resolve({ status: response.statusCode ?? 0, headers: headersOf(response), body: text });
      });
    });
    request.on('error', (error) => {
      clearTimeout(timer);
      reject(hasLeft ? new NoAnswer(codeOf(error)) : new NotSent(codeOf(error)));
    });
    request.end(bytes);
  });
}

/** @throws {NotSent} at once where no connection can be begun, as with a certificate that does not go with its key */
function begin(how: typeof plainRequest, url: string, options: RequestOptions): ClientRequest {
  try {
    return how(url, options);
  } catch (error) {
    throw new NotSent(codeOf(error));
  }
}

/** Not said, any coding would be acceptable (RFC 9110, 12.5.3). */
const PLAIN = { 'accept-encoding': 'identity' };

const codeOf = (error: unknown): string =>
  error instanceof Error ? ('code' in error ? String(error.code) : error.name) : String(error);

const codedError = (code: string): Error => Object.assign(new Error(code), { code });

function readBody(response: IncomingMessage, done: (text: string | null) => void): void {
  const chunks: Buffer[] = [];
  let length = 0;
  response.on('data', (chunk: Buffer) => {
    length += chunk.length;
    chunks.push(chunk);
    if (length > MOST_BYTES) response.destroy();
  });
  response.on('error', () => undefined);
  response.on('close', () => {
    const isWhole = response.complete && length <= MOST_BYTES;
    done(isWhole ? textIn(Buffer.concat(chunks), response.headers['content-encoding']) : null);
  });
}

/** Some proxies compress whatever was asked for. Null where it cannot be read within bounds. */
function textIn(bytes: Buffer, coding: string | undefined): string | null {
  if (coding !== 'gzip') return bytes.toString('utf8');
  try {
    return gunzipSync(bytes, { maxOutputLength: MOST_BYTES }).toString('utf8');
  } catch {
    return null;
  }
}

const headersOf = ({ headers }: IncomingMessage): Readonly<Record<string, string | undefined>> =>
  Object.fromEntries(Object.entries(headers).map(([name, value]) => [name, [value].flat().join(', ')]));
