import type { ExactValue } from '../json/exact-json.ts';

/** Puts a value into a message, however deep; false when something stands there already. */
export function putField(
  into: Record<string, ExactValue>,
  [first = '', ...rest]: readonly string[],
  value: ExactValue,
): boolean {
  if (rest.length === 0) {
    if (Object.hasOwn(into, first)) return false;
    into[first] = value;
    return true;
  }
  const inner = into[first] ?? {};
  into[first] = inner;
  return putField(inner as Record<string, ExactValue>, rest, value);
}
