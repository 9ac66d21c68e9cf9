/** Values of search parameters, as FHIR R4 search.html writes them, into what they mean. */
import { hasUnknownPrefix, type MomentOf, readRange, repairOffset, splitPrefix } from './date-range.ts';
import { splitAt, unescaped } from './escape.ts';
import type { DateValue, QuantityValue, TokenValue } from './query.ts';
import { notSupported, refused } from './refused.ts';
import type { SearchParameter } from './resource-type.ts';

/** `code`, `system|code`, `|code` or `system|`. */
export function readToken(name: string, text: string): TokenValue {
  const parts = splitAt(text, '|').map(unescaped);
  const [first = '', second] = parts;
  if (parts.length > 2 || (first === '' && (second ?? '') === '')) {
    throw refused(name, text, 'is no token', 'send code, system|code, |code or system|');
  }
  if (second === undefined) return { system: undefined, code: first };
  return { system: first === '' ? null : first, code: second === '' ? undefined : second };
}

/** The whole of it: a URI has no parts here. */
export const readUri = (text: string): TokenValue => ({ system: undefined, code: unescaped(text) });

export function readDate(name: string, text: string, zone: MomentOf): DateValue {
  const { prefix, rest } = splitPrefix(text);
  if (hasUnknownPrefix(text)) throw badPrefix(name, text);
  const range = readRange(repairOffset(unescaped(rest)), zone);
  if (range === undefined) {
    const mend = 'send a date such as 2025-03-01 or 2025-03-01T08:00:00+01:00, with + written as %2B';
    throw refused(name, text, 'is no FHIR date', mend);
  }
  return { prefix, range };
}

const badPrefix = (name: string, text: string) =>
  notSupported(
    `${name}=${text.slice(0, 2)}`,
    'has a prefix that is not known',
    'send one of eq ne gt lt ge le sa eb ap',
  );

const NUMBER = /^[+-]?(\d{1,15})(?:\.(\d{1,15}))?(?:[eE]([+-]?\d{1,2}))?$/;

/** `[prefix]number`, `number|system|code` or `number||code`. */
export function readQuantity(name: string, text: string): QuantityValue {
  const [written = '', system = '', unit = '', ...more] = splitAt(text, '|').map(unescaped);
  if (hasUnknownPrefix(written)) throw badPrefix(name, written);
  const { prefix, rest } = splitPrefix(written);
  // A plus sign that was not percent-encoded comes as a blank.
  const digits = rest.replace(/^ /, '').replace(/(?<=[eE]) /, '+');
  const [matched, , decimals = '', exponent = '0'] = NUMBER.exec(digits) ?? [];
  if (matched === undefined || more.length > 0) {
    throw refused(name, text, 'is no quantity', 'send a number, number|system|code or number||code');
  }
  const number = Number(digits);
  const half = 0.5 * 10 ** (Number(exponent) - decimals.length);
  return {
    prefix,
    number,
    // More digits than a double holds must not shut out the number itself.
    range: { lo: Math.min(exact(number - half), number), hi: Math.max(exact(number + half), number + half) },
    system: system === '' ? undefined : system,
    unit: unit === '' ? undefined : unit,
  };
}

/** Without the noise that arithmetic on binary fractions leaves behind the digits that matter. */
export const exact = (value: number): number => Number(value.toPrecision(14));

const ID = /^[A-Za-z0-9\-.]{1,64}$/;
const TYPED = /^([A-Z][A-Za-z]{2,40})\/([A-Za-z0-9\-.]{1,64})$/;

/**
 * The texts by which a resource may hold the reference that is asked for: relative, and absolute under our own base.
 * @param type the one type that is meant, where the request names it (`subject:Patient=1`)
 */
export function readReference(
  { name, targets = [] }: SearchParameter,
  text: string,
  type: string | undefined,
  base: string,
): readonly string[] {
  const asked = unescaped(text);
  const own = asked.startsWith(`${base}/`) ? asked.slice(base.length + 1) : asked;
  const [, named] = TYPED.exec(own) ?? [];
  if (named !== undefined) {
    const allowed = type === undefined ? targets : [type];
    if (!allowed.includes(named))
      throw refused(name, text, 'is a type that cannot stand there', `send ${allowed.join(' or ')}`);
    return [own, `${base}/${own}`];
  }
  if (/^[a-z][a-z0-9+.-]*:/i.test(own)) return [own];
  if (!ID.test(own)) throw refused(name, text, 'is no reference', `send an id, ${targets[0]}/id or a URL`);
  return (type === undefined ? targets : [type]).flatMap((each) => [
    `${each}/${own}`,
    `${base}/${each}/${own}`,
  ]);
}
