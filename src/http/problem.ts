/** Errors of the native API: RFC 9457 problem details that name the field, the value and the mend. */
import { type Fault, shown } from '../intake/fault.ts';

export const PROBLEM_JSON = 'application/problem+json; charset=utf-8';

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

/** Faults as one problem; its detail says what the list says, for people. */
export function problemOfFaults(
  status: number,
  slug: string,
  title: string,
  faults: readonly Fault[],
): Problem {
  const detail = faults
    .map((fault) => `${fault.pointer || 'the message'} ${fault.detail}: ${fault.mend}`)
    .join('; ');
  return problem(status, slug, title, detail, faults);
}

/** A path names something that is not there. @param what such as drain, as the path calls it */
export function noSuch(what: string, value: string, mend: string): Problem {
  const fault = { pointer: `/${what}`, value: shown(value), detail: `names no ${what}`, mend };
  return problemOfFaults(404, `no-such-${what}`, `There is no such ${what}`, [fault]);
}

export const noSuchDrain = (drain: string): Problem =>
  noSuch('drain', drain, 'place the drain first: POST /v1/drains');

/** What is wrong with a query. */
export const badQuery = (faults: readonly Fault[]): Problem =>
  problemOfFaults(400, 'bad-query', 'The query cannot be answered as it is', faults);

/** What is wrong with a message. */
export const faulty = (faults: readonly Fault[]): Problem =>
  problemOfFaults(
    422,
    'invalid-message',
    'The message cannot be taken as it is; nothing was written',
    faults,
  );
