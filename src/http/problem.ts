/** Errors of the native API: RFC 9457 problem details that name the field, the value and the mend. */
import type { FastifyReply } from 'fastify';
import type { Fault } from '../intake/fault.ts';

export interface Problem {
  readonly type: `urn:drainledger:problem:${string}`;
  readonly title: string;
  readonly status: number;
  readonly detail: string;
  readonly errors?: readonly Fault[];
  /** Of a key used twice: the answer that its first message got. */
  readonly first?: unknown;
}

export function problem(
  status: number,
  slug: string,
  title: string,
  detail: string,
  errors?: readonly Fault[],
): Problem {
  return {
    type: `urn:drainledger:problem:${slug}`,
    title,
    status,
    detail,
    ...(errors === undefined ? {} : { errors }),
  };
}

export function sendProblem(reply: FastifyReply, body: Problem): FastifyReply {
  return reply.code(body.status).type('application/problem+json; charset=utf-8').send(JSON.stringify(body));
}

/** What is wrong with a message, as one problem. */
export function faulty(faults: readonly Fault[]): Problem {
  const detail = faults
    .map((fault) => `${fault.pointer || 'the message'} ${fault.detail}: ${fault.mend}`)
    .join('; ');
  return problem(
    422,
    'invalid-message',
    'The message cannot be taken as it is; nothing was written',
    detail,
    faults,
  );
}
