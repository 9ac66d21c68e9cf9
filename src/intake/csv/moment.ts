import { DateTime } from 'luxon';

const OFFSET = /(?:Z|[+-]\d\d:\d\d)$/;
const LOCAL = /^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,3})?)?$/;

/**
 * A time of a file as RFC 3339 with offset. A local time is taken by its zone only where the clock showed it once: which
 * of two hours of the same name was meant is not guessed.
 */
export function momentText(
  text: string,
  zone: string | undefined,
): { readonly text: string } | { readonly fault: string; readonly mend: string } {
  const iso = text.trim().replace(' ', 'T');
  if (OFFSET.test(iso)) return { text: iso };
  if (zone === undefined)
    return { fault: 'has no offset', mend: 'write one, such as +01:00, or name the zone in the mapping' };
  if (!LOCAL.test(text.trim()))
    return { fault: 'is no local time', mend: 'write it as 2026-03-01T08:00 or 2026-03-01 08:00' };
  const local = DateTime.fromISO(iso, { zone });
  const asShown = local.isValid && local.toFormat("yyyy-MM-dd'T'HH:mm") === iso.slice(0, 16);
  if (!asShown) return { fault: `is a time that the clock in ${zone} never showed`, mend: 'write an offset' };
  if (local.getPossibleOffsets().length > 1)
    return { fault: `is a time that the clock in ${zone} showed twice`, mend: 'write an offset' };
  return { text: local.toISO({ suppressMilliseconds: true }) ?? iso };
}
