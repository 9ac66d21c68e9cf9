/**
 * Clock hours, shifts and fluid-balance days of a facility, as moments: its zone by the IANA time zone database.
 * A day or shift runs from one local start to the next, so it may last 23 or 25 h. A start that the clock skips moves to
 * the first moment after the gap; one that it shows twice is the first of the two. An hour that the clock repeats is
 * two hours.
 */
import { IANAZone } from 'luxon';
import type { Span } from '../domain/fold/interval.ts';
import { type EpochMs, epochMs, HOUR_MS, MINUTE_MS } from '../domain/numbers/units.ts';
import type { Calendar, MinuteOfDay } from '../domain/vocabulary/configuration.ts';
import type { CalendarKind } from '../domain/vocabulary/fact.ts';

export const CALENDAR_KINDS = ['hour', 'shift', 'day'] as const satisfies readonly CalendarKind[];

const DAY_MS = 24 * HOUR_MS;

/** Names only: an offset such as +01:00 knows nothing of summer time. */
export const isZoneName = (text: string): boolean =>
  /^[A-Za-z][A-Za-z0-9_+\-/]*$/.test(text) && IANAZone.isValidZone(text);

/** The windows that hold any of the time between two moments, in order; no more than `most`. */
export function windowsOver(
  calendar: Calendar,
  kind: CalendarKind,
  over: Span,
  most: number,
): readonly Span[] {
  const windows: Span[] = [];
  let from: EpochMs | null = null;
  for (const boundary of boundariesFrom(calendar, kind, over.from)) {
    if (from !== null && boundary > over.from) windows.push({ from, to: boundary });
    if (boundary >= over.to || windows.length === most) break;
    from = boundary;
  }
  return windows;
}

/** Boundaries without end, from one at or before the moment. */
function boundariesFrom(calendar: Calendar, kind: CalendarKind, at: EpochMs): Iterable<EpochMs> {
  const zone = IANAZone.create(calendar.zone);
  if (kind === 'hour') return hoursFrom(zone, at);
  return startsFrom(zone, kind === 'day' ? [calendar.dayStart] : calendar.shiftStarts, at);
}

function* hoursFrom(zone: IANAZone, at: EpochMs): Iterable<EpochMs> {
  // Where the clock changed within this hour, the first is no boundary; the next one, still no later than `at`, is.
  let boundary = epochMs(at - modulo(at + offsetMs(zone, at), HOUR_MS));
  for (;;) {
    yield boundary;
    const next = epochMs(boundary + HOUR_MS - modulo(boundary + offsetMs(zone, boundary), HOUR_MS));
    boundary = changeIn(zone, boundary, next) ?? next;
  }
}

function* startsFrom(zone: IANAZone, starts: readonly MinuteOfDay[], at: EpochMs): Iterable<EpochMs> {
  // Two days back: the start before a moment may be on the day before, and that day may be one the zone skipped.
  let midnight = Math.floor((at + offsetMs(zone, at)) / DAY_MS) * DAY_MS - 2 * DAY_MS;
  let last = -Infinity;
  for (; ; midnight += DAY_MS) {
    for (const start of starts) {
      const moment = momentOf(zone, midnight + start * MINUTE_MS);
      // Two starts in one gap are one moment.
      if (moment > last) yield moment;
      last = Math.max(last, moment);
    }
  }
}

/** @param local a local date and time, as if it were UTC, ms */
function momentOf(zone: IANAZone, local: number): EpochMs {
  const [before, after] = [local - DAY_MS, local + DAY_MS].map((near) => offsetMs(zone, near));
  const first = Math.min(local - (before ?? 0), local - (after ?? 0));
  const second = Math.max(local - (before ?? 0), local - (after ?? 0));
  const shown = [first, second].find((moment) => moment + offsetMs(zone, moment) === local);
  if (shown !== undefined) return epochMs(shown);
  return changeIn(zone, first, second) ?? epochMs(second);
}

/** The first moment after `from`, up to `to`, with another offset than at `from`, if the offset at `to` differs. */
function changeIn(zone: IANAZone, from: number, to: number): EpochMs | undefined {
  const before = offsetMs(zone, from);
  if (offsetMs(zone, to) === before) return undefined;
  let [low, high] = [from, to];
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    if (offsetMs(zone, middle) === before) low = middle;
    else high = middle;
  }
  return epochMs(high);
}

const QUARTER_MS = 15 * MINUTE_MS;
/** More than a year of quarters; beyond it all are looked up again. */
const MOST_KEPT = 40_000;
/** Offsets by zone and quarter of an hour, as finding one takes its time; null where it changes within the quarter. */
const kept = new Map<string, Map<number, number | null>>();

function offsetMs(zone: IANAZone, at: number): number {
  let quarters = kept.get(zone.name);
  if (quarters === undefined || quarters.size > MOST_KEPT) {
    quarters = new Map();
    kept.set(zone.name, quarters);
  }
  const quarter = Math.floor(at / QUARTER_MS);
  let offset = quarters.get(quarter);
  if (offset === undefined) {
    const [first, next] = [
      exactOffsetMs(zone, quarter * QUARTER_MS),
      exactOffsetMs(zone, (quarter + 1) * QUARTER_MS),
    ];
    offset = first === next ? first : null;
    quarters.set(quarter, offset);
  }
  return offset ?? exactOffsetMs(zone, at);
}

const exactOffsetMs = (zone: IANAZone, at: number): number => Math.round(zone.offset(at) * MINUTE_MS);

const modulo = (value: number, by: number): number => ((value % by) + by) % by;

/** A moment as the clock on the wall shows it, with its offset. */
export function localText({ zone }: Calendar, at: EpochMs): string {
  const offset = offsetMs(IANAZone.create(zone), at);
  const wall = new Date(at + offset).toISOString().slice(0, at % 1000 === 0 ? 19 : -1);
  if (zone.toUpperCase() === 'UTC' || zone.toUpperCase() === 'GMT') return `${wall}Z`;
  // An offset of the time before standard time may have seconds, which RFC 3339 cannot write.
  const minutes = Math.trunc(Math.abs(offset) / MINUTE_MS);
  return `${wall}${offset < 0 ? '-' : '+'}${timeOfDayText(minutes)}`;
}

/** 450 as '07:30'. */
export function timeOfDayText(minutes: MinuteOfDay): string {
  const twoDigits = (value: number) => String(value).padStart(2, '0');
  return `${twoDigits(Math.floor(minutes / 60))}:${twoDigits(minutes % 60)}`;
}
