/** What a request asks for, whether in its URL, in a form or in a Parameters resource. */
import type { FastifyRequest } from 'fastify';
import type { Reference } from '../../domain/vocabulary/entry.ts';
import { codingText, periodText, splitAt, unescaped } from '../../fhir/search/escape.ts';
import type { Pair } from '../../fhir/search/query.ts';
import { Refused } from '../../fhir/search/refused.ts';
import { ExactNumber } from '../../json/exact-json.ts';

/** Parameters of URL and body together, in their order; not by the framework's parser, which keeps no order. */
export function pairsOf({ url, body }: Pick<FastifyRequest, 'url' | 'body'>): readonly Pair[] {
  const start = url.indexOf('?');
  const sent = start === -1 ? [] : pairsIn(new URLSearchParams(url.slice(start + 1)));
  if (body instanceof URLSearchParams) return [...sent, ...pairsIn(body)];
  return body === undefined || body === null ? sent : [...sent, ...pairsOfResource(body)];
}

/** Of the URL alone: where the body is a resource to be stored. */
export const queryOf = ({ url }: FastifyRequest): readonly Pair[] => pairsOf({ url, body: undefined });

const pairsIn = (parameters: URLSearchParams): Pair[] =>
  [...parameters].map(([name, value]): Pair => [name, value]);

type Json = Readonly<Record<string, unknown>>;

/** @throws {Refused} when it is no Parameters resource of simple values */
function pairsOfResource(body: unknown): readonly Pair[] {
  const { resourceType, parameter } = body as Json;
  if (resourceType !== 'Parameters' || !Array.isArray(parameter))
    throw new Refused(
      400,
      'invalid',
      'the body is no Parameters resource with parameters: send one, or a form',
    );
  return parameter.map((each: unknown, n): Pair => {
    const { name, ...rest } = (each ?? {}) as Json;
    const [[key, value] = [], ...others] = Object.entries(rest);
    const text = key?.startsWith('value') && others.length === 0 ? textOf(value) : undefined;
    if (typeof name !== 'string' || text === undefined)
      throw new Refused(
        400,
        'invalid',
        `Parameters.parameter[${n}] has no name with one simple value, Coding, Period or Reference: send one`,
      );
    return [name, text];
  });
}

function textOf(value: unknown): string | undefined {
  if (typeof value === 'string') return value;
  if (typeof value === 'boolean') return String(value);
  if (value instanceof ExactNumber) return value.text;
  if (typeof value !== 'object' || value === null) return undefined;
  const { system, code, start, end, reference } = value as Readonly<Record<string, string | undefined>>;
  if (code !== undefined) return codingText(system ?? '', code);
  if (start !== undefined || end !== undefined) return periodText(start ?? '', end ?? '');
  return reference;
}

const OF_PATIENT = /^(?:patient|subject)(?::Patient)?$/;
const OF_IDENTIFIER = /^(?:patient|subject)(?::Patient)?[.:]identifier$/;
/** An access is kept for each: of more, what was found tells. */
const MOST_NAMED = 20;

/** Patients that a search names, whether or not there is anything of them. */
export function patientsNamed(pairs: readonly Pair[]): readonly Reference[] {
  return pairs
    .flatMap(([name, text]) => splitAt(text, ',').flatMap((value) => patientIn(name, value) ?? []))
    .slice(0, MOST_NAMED);
}

function patientIn(name: string, value: string): Reference | undefined {
  if (OF_PATIENT.test(name)) {
    const [, id] = /^(?:Patient\/)?([A-Za-z0-9\-.]{1,64})$/.exec(value) ?? [];
    const isPatient = id !== undefined && (value !== id || name !== 'subject');
    return isPatient ? { reference: `Patient/${id}` } : undefined;
  }
  const [system, number, ...more] = splitAt(value, '|').map(unescaped);
  const isIdentifier = OF_IDENTIFIER.test(name) && system !== undefined && more.length === 0;
  return isIdentifier && number !== undefined ? { identifier: { system, value: number } } : undefined;
}

/** All that Prefer says, in one header or several (RFC 7240). */
export const preferencesOf = ({ headers }: FastifyRequest): string => [headers.prefer ?? []].flat().join(',');

const RETURNS = ['minimal', 'representation', 'OperationOutcome'] as const;

/** What a client wants back of what it stored (FHIR R4 http.html#ops); null where it does not say. */
export function preferredReturn(request: FastifyRequest): (typeof RETURNS)[number] | null {
  const [, wanted] = /(?:^|[,;\s])return\s*=\s*"?([A-Za-z]+)/.exec(preferencesOf(request)) ?? [];
  return RETURNS.find((each) => each === wanted) ?? null;
}

/** Whether parameters that are not known may be left out (Prefer: handling=lenient; RFC 7240). */
export function handlingOf(request: FastifyRequest): 'strict' | 'lenient' | null {
  const [, handling] = /(?:^|[,;\s])handling\s*=\s*"?(strict|lenient)\b/i.exec(preferencesOf(request)) ?? [];
  return handling === undefined ? null : handling.toLowerCase() === 'lenient' ? 'lenient' : 'strict';
}
