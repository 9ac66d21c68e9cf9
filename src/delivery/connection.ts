/** Requests to one target: under its base URL only, with its authorization, judged. */
import type { Outcome } from '../store/delivery-port.ts';
import { type Authorizer, NotAuthorized } from './auth/authorizer.ts';
import { type Held, type Purpose, type Verdict, verdictOnAnswer, verdictOnFailure } from './classify.ts';
import { type HttpAnswer, type HttpRequest, NotSent, type SendHttp } from './http.ts';

export interface Asked {
  readonly method: HttpRequest['method'];
  /** Below the base URL; empty for the base itself. Never with patient data: it may be logged on the way. */
  readonly path: string;
  readonly purpose: Purpose;
  readonly headers?: Readonly<Record<string, string>>;
  readonly body?: string | Buffer;
}

export interface Said {
  readonly verdict: Verdict;
  /** Null when none came. */
  readonly answer: HttpAnswer | null;
}

export interface Connection {
  readonly baseUrl: string;
  ask(asked: Asked): Promise<Said>;
}

export interface ConnectionOptions {
  readonly baseUrl: string;
  readonly http: SendHttp;
  readonly authorizer: Authorizer;
  now(): number;
  /** Told of each request, for figures. */
  onVerdict(kind: Verdict['kind']): void;
}

const FHIR_JSON = 'application/fhir+json';

export function connectTo(options: ConnectionOptions): Connection {
  const { baseUrl, authorizer } = options;

  async function once(asked: Asked): Promise<Said> {
    try {
      const authorization = await authorizer.header();
      const answer = await options.http(requestOf(baseUrl, asked, authorization));
      return { verdict: verdictOnAnswer(answer, asked.purpose, options.now()), answer };
    } catch (error) {
      const failure = error instanceof NotAuthorized ? new NotSent(error.message) : error;
      return { verdict: verdictOnFailure(failure), answer: null };
    }
  }

  return {
    baseUrl,
    async ask(asked) {
      const first = await once(asked);
      options.onVerdict(first.verdict.kind);
      // A token may have been withdrawn before its time: another is asked for once.
      if (first.verdict.kind !== 'unauthorized' || !authorizer.renew()) return first;
      const second = await once(asked);
      options.onVerdict(second.verdict.kind);
      return second;
    },
  };
}

function requestOf(
  baseUrl: string,
  { method, path, headers, body }: Asked,
  authorization: string | null,
): HttpRequest {
  const request = {
    method,
    url: path === '' ? baseUrl : `${baseUrl}/${path}`,
    headers: {
      accept: FHIR_JSON,
      ...(body === undefined ? {} : { 'content-type': FHIR_JSON }),
      ...headers,
      ...(authorization === null ? {} : { authorization }),
    },
  };
  if (body === undefined) return request;
  if (typeof body === 'string') return { ...request, body };
  return {
    ...request,
    bytes: body,
    get body() {
      return body.toString();
    },
  };
}

/** Of a verdict that says why. */
export const outcomeIn = (verdict: Verdict | Held): Outcome =>
  'outcome' in verdict ? verdict.outcome : { why: `the target answered '${verdict.kind}'` };
