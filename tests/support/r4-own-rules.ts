/** A parsed JSON object of which nothing more is known. */
export type JsonObject = Readonly<Record<string, unknown>>;

/** Whether a parsed JSON value is an object, not an array and not null. */
export function isObject(value: unknown): value is JsonObject {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

function isReversed(start: string, end: string): boolean {
  if (start.includes('T') && end.includes('T')) return Date.parse(start) > Date.parse(end);
  // `2024` ends after `2024-03` starts, so dates are compared only as far as both are known.
  const known = Math.min(start.length, end.length, 'YYYY-MM-DD'.length);
  return start.slice(0, known) > end.slice(0, known);
}

function problemsHere(object: JsonObject, path: string, isUcumCode: (code: string) => boolean): string[] {
  const problems: string[] = [];
  const { start, end, system, code } = object;
  if (Object.keys(object).length === 0) problems.push(`${path} is an empty object; leave it out.`);
  if (typeof start === 'string' && typeof end === 'string' && isReversed(start, end)) {
    problems.push(`${path} starts at ${start}, after its end ${end}; FHIR wants start <= end.`);
  }
  if (system === 'http://unitsofmeasure.org' && (typeof code !== 'string' || !isUcumCode(code))) {
    problems.push(`${path}.code ${JSON.stringify(code)} is no UCUM code.`);
  }
  return problems;
}

/**
 * The rules of FHIR R4 that neither library applies: nothing empty or null anywhere, no Period that ends
 * before it starts, and a real code wherever UCUM is claimed to be the unit's system.
 */
export function ownProblems(
  value: unknown,
  isUcumCode: (code: string) => boolean,
  path = 'resource',
): string[] {
  if (value === null) return [`${path} is null; leave it out.`];
  if (Array.isArray(value)) {
    if (value.length === 0) return [`${path} is an empty array; leave it out.`];
    return value.flatMap((item, index) => ownProblems(item, isUcumCode, `${path}[${index}]`));
  }
  if (!isObject(value)) return [];
  const nested = Object.entries(value).flatMap(([name, member]) =>
    ownProblems(member, isUcumCode, `${path}.${name}`),
  );
  return [...problemsHere(value, path, isUcumCode), ...nested];
}
