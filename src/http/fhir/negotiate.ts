/** Which representation a client takes: JSON of FHIR 4.0 is the only one (FHIR R4 http.html#mime-type, RFC 9110 12.5.1). */
import type { FastifyRequest } from 'fastify';
import type { Pair } from '../../fhir/search/query.ts';
import { Refused } from '../../fhir/search/refused.ts';

/** Served, the first where a client takes several alike: whoever asks for a generic type gets that. */
const SERVED = ['application/fhir+json', 'application/json', 'text/json'] as const;

interface MediaRange {
  readonly type: string;
  readonly parameters: ReadonlyMap<string, string>;
}

/** The content type of the answer. `_format` goes before Accept. @throws {Refused} 406 */
export function negotiate({ headers }: FastifyRequest, pairs: readonly Pair[]): string {
  const format = pairs.find(([name]) => name === '_format')?.[1];
  // An unescaped + in a query is a blank: _format=application/fhir+json is often sent so.
  const asked = format?.replace('fhir json', 'fhir+json') ?? (headers.accept || '*/*');
  const ranges = readRanges(asked).filter(({ parameters }) => isVersion4(parameters));
  const [best] = SERVED.map((type) => ({ type, weight: weightOf(type, ranges) }))
    .filter(({ weight }) => weight > 0)
    .sort((a, b) => b.weight - a.weight);
  if (best !== undefined) return `${best.type}; charset=utf-8`;
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

/** By the range that names the type most closely (RFC 9110 12.5.1); `json` is how `_format` may say it. */
function weightOf(type: (typeof SERVED)[number], ranges: readonly MediaRange[]): number {
  const names = [type, ...(type === SERVED[0] ? ['json'] : []), `${type.split('/')[0]}/*`, '*/*'];
  const [closest] = names.flatMap((name) => ranges.find((each) => each.type === name) ?? []);
  return closest === undefined ? 0 : Number(closest.parameters.get('q') ?? '1');
}

const isVersion4 = (parameters: ReadonlyMap<string, string>): boolean =>
  ['4.0', '4.0.1'].includes(parameters.get('fhirversion') ?? '4.0');
