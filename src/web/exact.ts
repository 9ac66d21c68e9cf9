/** Numbers as they were typed: the service keeps every digit, so nothing here may take one away. */

/** A number by its digits, written into JSON as they stand. */
export interface Digits {
  readonly digits: string;
}

export type Typed = Digits | { readonly fault: string };

const NUMBER = /^[+\-−]?(\d{1,9})(?:[.,](\d{1,3}))?$/;

/**
 * Reads what was typed into a field. A comma may stand for the point.
 * @param isSigned against atmosphere; else a minus is dropped, as magnitudes are positive and -20 means 20 here
 */
export function readDigits(text: string, isSigned: boolean): Typed {
  const found = NUMBER.exec(text.trim());
  if (found === null) return { fault: 'is no number with at most 3 decimals' };
  const [, whole = '', fraction] = found;
  const isBelow = isSigned && /^[-−]/.test(text.trim());
  const digits = whole.replace(/^0+(?=\d)/, '');
  return { digits: `${isBelow ? '-' : ''}${digits}${fraction === undefined ? '' : `.${fraction}`}` };
}

export type Json = string | boolean | null | Digits | readonly Json[] | { readonly [key: string]: Json };

const isDigits = (value: object): value is Digits =>
  'digits' in value && typeof value.digits === 'string' && Object.keys(value).length === 1;

export function writeJson(value: Json): string {
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  if (Array.isArray(value)) return `[${value.map(writeJson).join(',')}]`;
  if (isDigits(value)) return value.digits;
  const parts = Object.entries(value).map(([key, part]) => `${JSON.stringify(key)}:${writeJson(part)}`);
  return `{${parts.join(',')}}`;
}

/** Sets a value at a path such as suction.column_cmh2o, making what lies between. */
export function setAt(into: Record<string, Json>, path: string, value: Json): void {
  const steps = path.split('.');
  const last = steps.pop() ?? path;
  let place = into;
  for (const step of steps) {
    place[step] ??= {};
    place = place[step] as Record<string, Json>;
  }
  place[last] = value;
}

/** What stands at a path; undefined where nothing does. */
export function valueAt(of: unknown, path: string): unknown {
  let value = of;
  for (const step of path.split('.')) {
    if (typeof value !== 'object' || value === null) return undefined;
    value = (value as Readonly<Record<string, unknown>>)[step];
  }
  return value;
}
