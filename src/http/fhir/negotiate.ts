/** Which representation a client takes: JSON of FHIR 4.0 is the only one (FHIR R4 http.html#mime-type, RFC 9110 12.5.1). */
import type { FastifyRequest } from 'fastify';
import type { Pair } from '../../fhir/search/query.ts';
import { Refused } from '../../fhir/search/refused.ts';
import { FHIR_JSON } from './outcomes.ts';

/** What each acceptable type is answered with: a client that asks for a generic type gets that. */
const ANSWERED_WITH: Readonly<Record<string, string>> = {
  'application/fhir+json': FHIR_JSON,
  'application/json': 'application/json; charset=utf-8',
  'text/json': 'text/json; charset=utf-8',
  json: FHIR_JSON,
  'application/*': FHIR_JSON,
  '*/*': FHIR_JSON,
};

interface MediaRange {
  readonly type: string;
  readonly parameters: ReadonlyMap<string, string>;
}

/** The content type of the answer. `_format` goes before Accept. @throws {Refused} 406 */
export function negotiate({ headers }: FastifyRequest, pairs: readonly Pair[]): string {
  const format = pairs.find(([name]) => name === '_format')?.[1];
  // An unescaped + in a query is a blank: _format=application/fhir+json is often sent so.
  const asked = format?.replace('fhir json', 'fhir+json') ?? headers.accept ?? '*/*';
  const chosen = readRanges(asked)
    .filter(({ parameters }) => weightOf(parameters) > 0 && isVersion4(parameters))
    .sort((a, b) => weightOf(b.parameters) - weightOf(a.parameters))
    .find(({ type }) => Object.hasOwn(ANSWERED_WITH, type));
  if (chosen !== undefined) return ANSWERED_WITH[chosen.type] ?? FHIR_JSON;
  const name = format === undefined ? 'Accept' : '_format';
  throw new Refused(
    406,
    'not-supported',
    `${name} ${asked.slice(0, 100).toWellFormed()} asks for what is not served: ask for application/fhir+json, of fhirVersion 4.0 if any`,
  );
}

/** @throws {Refused} 415 for a body of another FHIR version */
export function checkBodyVersion({ headers }: FastifyRequest): void {
  const [sent] = readRanges(headers['content-type'] ?? '');
  if (sent === undefined || isVersion4(sent.parameters)) return;
  throw new Refused(415, 'not-supported', 'content-type names a fhirVersion that is not read: send 4.0');
}

function readRanges(text: string): readonly MediaRange[] {
  return text.split(',').flatMap((range) => {
    const [type = '', ...parameters] = range.split(';').map((part) => part.trim());
    if (type === '') return [];
    const pairs = parameters.map((each): [string, string] => {
      const [name = '', value = ''] = each.split('=');
      return [name.trim().toLowerCase(), value.trim().replaceAll('"', '')];
    });
    return [{ type: type.toLowerCase(), parameters: new Map(pairs) }];
  });
}

const weightOf = (parameters: ReadonlyMap<string, string>): number => Number(parameters.get('q') ?? '1');

const isVersion4 = (parameters: ReadonlyMap<string, string>): boolean =>
  ['4.0', '4.0.1'].includes(parameters.get('fhirversion') ?? '4.0');
