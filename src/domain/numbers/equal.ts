/** Whether two plain values are the same all through: numbers, text, bigints, lists and records of them. */
export function equal(a: unknown, b: unknown): boolean {
  if (Object.is(a, b)) return true;
  if (typeof a !== 'object' || typeof b !== 'object' || a === null || b === null) return false;
  const keys = Object.keys(a);
  if (keys.length !== Object.keys(b).length) return false;
  for (const key of keys) {
    if (!Object.hasOwn(b, key) || !equal(member(a, key), member(b, key))) return false;
  }
  return true;
}

const member = (value: object, key: string): unknown => (value as Record<string, unknown>)[key];
