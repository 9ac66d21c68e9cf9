/**
 * Writes a value as JSON with sorted keys and no white space: the same value always gives the same bytes.
 *
 * @param digitsOf the exact digits of an object that stands for a number, or undefined for any other object
 */
export function writeCanonical(value: unknown, digitsOf: (value: object) => string | undefined): string {
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  const digits = digitsOf(value);
  if (digits !== undefined) return digits;
  if (Array.isArray(value)) return `[${value.map((item) => writeCanonical(item, digitsOf)).join(',')}]`;
  let members = '';
  for (const key of Object.keys(value).sort()) {
    const member = (value as Record<string, unknown>)[key];
    if (member === undefined) continue;
    members += `${members === '' ? '' : ','}${JSON.stringify(key)}:${writeCanonical(member, digitsOf)}`;
  }
  return `{${members}}`;
}
