/** What a thrown error says to the client, and to the log: never what was sent. */
import type { FastifyBaseLogger, FastifyError, FastifyRequest } from 'fastify';
import { shortened } from '../intake/fault.ts';
import { PicturesBusy } from '../plots/pictures.ts';
import { SearchUnavailable } from '../search/port.ts';
import { StoreBusy, StoreFailed, StoreReadOnly } from '../store/port.ts';
import { BadBody } from './body.ts';
import { type Problem, problem, problemOfFaults } from './problem.ts';

export type Failure = Pick<FastifyError, 'code' | 'statusCode'> & Error;

export function problemOf(error: Failure, request: FastifyRequest): Problem {
  if (error instanceof StoreBusy) {
    return problem(503, 'busy', 'Too much is queued; nothing was written', 'Send it again a little later.');
  }
  if (error instanceof StoreReadOnly) return readOnlyProblem(error);
  if (error instanceof StoreFailed) {
    const detail = 'The store cannot write now: send it again later.';
    return problem(503, 'not-durable', 'Nothing was written', detail);
  }
  if (error instanceof SearchUnavailable) {
    return problem(
      503,
      'no-search',
      'The search index is not ready',
      `${error.message}: ask again in a moment.`,
    );
  }
  if (error instanceof PicturesBusy)
    return problem(503, 'busy', 'Too many pictures are asked for at once', 'Ask again a little later.');
  if (error instanceof BadBody) return error.problem;
  return REQUEST_PROBLEMS[error.code]?.(request) ?? unexpected(error.statusCode ?? 500);
}

export const readOnlyProblem = ({ message }: StoreReadOnly): Problem =>
  problem(503, 'read-only', 'The ledger is only read; nothing was written', message);

/** Errors of the framework about what was sent. */
const REQUEST_PROBLEMS: Readonly<Record<string, (request: FastifyRequest) => Problem>> = {
  FST_ERR_CTP_INVALID_MEDIA_TYPE: ({ headers, routeOptions }) => {
    const sent = headers['content-type'];
    return problemOfFaults(415, 'unsupported-media-type', 'The body is of no type that is read here', [
      {
        pointer: 'content-type',
        value: sent === undefined ? undefined : shortened(sent),
        detail: sent === undefined ? 'is missing' : 'is no type that is read here',
        mend: `send ${(routeOptions.config.doc?.bodyTypes ?? ['application/json']).join(' or ')}`,
      },
    ]);
  },
  FST_ERR_CTP_BODY_TOO_LARGE: ({ routeOptions }) => {
    const detail = `The body is over ${routeOptions.bodyLimit} bytes: send less at once.`;
    return problem(413, 'too-large', 'The body is too large', detail);
  },
  FST_ERR_CTP_INVALID_CONTENT_LENGTH: () =>
    problem(400, 'bad-length', 'The body was cut', 'content-length differs from the body: send it whole.'),
  FST_ERR_BAD_URL: () =>
    problem(400, 'bad-url', 'The path cannot be read', 'Percent-encode the path as RFC 3986 describes.'),
  FST_ERR_MAX_PARAM_LENGTH: () =>
    problem(414, 'url-too-long', 'A part of the path is too long', 'Send ids as they were given.'),
};

function unexpected(status: number): Problem {
  if (status < 500)
    return problem(status, 'bad-request', 'The request cannot be read', 'See GET /openapi.json.');
  return problem(500, 'failed', 'The server failed', 'Send it again later; the same identifier is safe.');
}

/** Without the message, which may quote what was sent. */
export function logFailure(log: FastifyBaseLogger, error: Failure): void {
  const frames = error.stack?.split('\n').filter((line) => line.startsWith('    at '));
  log.error({ code: error.code, name: error.name, frames }, 'request failed');
}
