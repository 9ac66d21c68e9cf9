/**
 * FHIR dates as half-open ranges of time, and how a search value compares with what a resource says.
 * Source: FHIR R4 search.html#date and #prefix, read literally; see PREFIXES.
 */

/** Epoch ms; `hi` is outside. */
export interface Range {
  readonly lo: number;
  readonly hi: number;
}

/** The moment at which a clock on the wall shows this; `local` is what it shows, as if it were UTC, ms. */
export type MomentOf = (local: number) => number;

/** Ends of a Period that are left open. */
export const EVER = 9e15;

const DATE =
  /^(\d{4})(?:-(\d\d)(?:-(\d\d)(?:T(\d\d):(\d\d)(?::(\d\d)(?:\.(\d{1,9}))?)?(Z|[+-](?:0\d|1[0-4]):[0-5]\d)?)?)?)?$/;

/**
 * The time that a FHIR date, dateTime or instant stands for, by its precision: a year to a part of a second.
 * @param zone used where the text names no offset
 * @returns undefined for anything else, a day that does not exist included
 */
export function readRange(text: string, zone: MomentOf): Range | undefined {
  const [matched, year, month, day, hour, minute, second, fraction, offset] = DATE.exec(text) ?? [];
  if (matched === undefined) return undefined;
  const parts = [year, month, day, hour, minute, second].map((part) =>
    part === undefined ? undefined : Number(part),
  );
  const [y = 0, mo = 1, d = 1, h = 0, mi = 0, s = 0] = parts;
  const start = utc(y, mo, d, h, mi, s);
  if (!new Date(start).toISOString().startsWith(calendarText(parts))) return undefined;
  const moment: MomentOf = offset === undefined ? zone : (local) => local - offsetMs(offset);
  if (fraction !== undefined) {
    const step = 1000 / 10 ** fraction.length;
    const lo = moment(start) + Number(fraction) * step;
    // Finer than a millisecond is kept as the millisecond it lies in.
    return { lo: Math.floor(lo), hi: Math.max(Math.floor(lo) + 1, Math.floor(lo + step)) };
  }
  if (second !== undefined) return { lo: moment(start), hi: moment(start) + 1000 };
  if (minute !== undefined) return { lo: moment(start), hi: moment(start) + 60_000 };
  const next = day !== undefined ? [y, mo, d + 1] : month !== undefined ? [y, mo + 1, 1] : [y + 1, 1, 1];
  return { lo: moment(start), hi: moment(utc(next[0] ?? 0, next[1] ?? 1, next[2] ?? 1, 0, 0, 0)) };
}

/** {@link readRange} in a zone. */
export type ReadDate = (text: string) => Range | undefined;

/** Beyond so many texts all are read again. */
const MOST_KEPT = 5000;

/** What one reading issues names few times, each in many places: each text is read once. */
export function createDateReader(zone: MomentOf): ReadDate {
  const known = new Map<string, Range | undefined>();
  return (text) => {
    if (known.has(text)) return known.get(text);
    const range = readRange(text, zone);
    if (known.size >= MOST_KEPT) known.clear();
    known.set(text, range);
    return range;
  };
}

function utc(y: number, mo: number, d: number, h: number, mi: number, s: number): number {
  // Not Date.UTC, which takes the years 0 to 99 for the twentieth century.
  const date = new Date(0);
  date.setUTCFullYear(y, mo - 1, d);
  date.setUTCHours(h, mi, s);
  return date.getTime();
}

/** As ISO writes the parts that are there: a date that rolled over does not start like this. */
function calendarText(parts: readonly (number | undefined)[]): string {
  const separators = ['', '-', '-', 'T', ':', ':'];
  return parts
    .map((part, i) => (part === undefined ? '' : separators[i] + String(part).padStart(i === 0 ? 4 : 2, '0')))
    .join('');
}

function offsetMs(offset: string): number {
  if (offset === 'Z') return 0;
  const minutes = Number(offset.slice(1, 3)) * 60 + Number(offset.slice(4, 6));
  return (offset.startsWith('-') ? -minutes : minutes) * 60_000;
}

/** `+` of an offset that was not percent-encoded comes as a blank; no date holds one. */
export const repairOffset = (text: string): string => text.replace(/ (\d\d:\d\d)$/, '+$1');

const PREFIXES = ['eq', 'ne', 'gt', 'lt', 'ge', 'le', 'sa', 'eb', 'ap'] as const;
export type Prefix = (typeof PREFIXES)[number];

export function splitPrefix(text: string): { readonly prefix: Prefix; readonly rest: string } {
  const prefix = PREFIXES.find((each) => text.startsWith(each));
  return prefix === undefined ? { prefix: 'eq', rest: text } : { prefix, rest: text.slice(2) };
}

/** Letters where a prefix stands are one that is not known, never part of a date or number. */
export const hasUnknownPrefix = (text: string): boolean =>
  /^[A-Za-z]{2}(?=[-\d])/.test(text) && !PREFIXES.some((each) => text.startsWith(each));

/** For `ap`: widened by a tenth of the time between it and now. */
export function widened({ lo, hi }: Range, now: number): Range {
  const by = Math.abs(now - lo) / 10;
  return { lo: lo - by, hi: hi + by };
}
