/** Local policy as the derivation takes it: rule tables and calendars, each from when on it was in force. */

import {
  type CalendarSpan,
  type Policy,
  rulesThroughTime,
  type TableInForce,
} from '../domain/advisories/policy.ts';
import type { Span } from '../domain/fold/interval.ts';
import { type EpochMs, epochMs } from '../domain/numbers/units.ts';
import type { Calendar } from '../domain/vocabulary/configuration.ts';
import type { Settings } from '../domain/vocabulary/settings.ts';
import { CALENDAR_KINDS, windowsOver } from './calendar.ts';
import { nameOfText } from './names.ts';

export interface CalendarInForce {
  readonly from: EpochMs;
  readonly calendar: Calendar;
}

/** @param tables and calendars in order of time, at least one of each */
export function createPolicy(
  settings: Settings,
  tables: readonly TableInForce[],
  calendars: readonly CalendarInForce[],
): Policy {
  const kept = calendars.map(({ calendar }) => keptWindows(calendar));
  return {
    settings,
    rules: rulesThroughTime(tables),
    nameOf: keptNames(),
    windowsOver: (over) =>
      kept.flatMap((windows, n) => {
        const from = n === 0 ? -Infinity : (calendars[n]?.from ?? Infinity);
        const to = calendars[n + 1]?.from ?? Infinity;
        if (over.to < from || over.from > to) return [];
        // A window belongs to the calendar in force when it began.
        return windows(over).filter((window) => window.from >= from && window.from < to);
      }),
  };
}

const MOST_NAMES = 10_000;

/** Every entry names the windows and advisories that it falls into, which most entries before it did as well. */
function keptNames(): Policy['nameOf'] {
  const kept = new Map<string, string>();
  return (text) => {
    const known = kept.get(text);
    if (known !== undefined) return known;
    const name = nameOfText(text);
    if (kept.size >= MOST_NAMES) kept.clear();
    kept.set(text, name);
    return name;
  };
}

const STRETCH_MS = 3_600_000;
const MOST_STRETCHES = 1_000;
const MOST_WINDOWS = 1_000_000;

/** Zone look-ups are slow and readings of all drains fall into the same hours, so short spans are kept by their hours. */
function keptWindows(calendar: Calendar): (over: Span) => readonly CalendarSpan[] {
  const kept = new Map<number, readonly CalendarSpan[]>();
  return (over) => {
    const first = Math.floor(over.from / STRETCH_MS);
    if (over.to >= (first + 2) * STRETCH_MS) {
      return windowsIn(calendar, { from: over.from, to: epochMs(over.to + 1) });
    }
    const found = kept.get(first) ?? windowsIn(calendar, stretchFrom(first));
    if (kept.size > MOST_STRETCHES) kept.clear();
    kept.set(first, found);
    return found.filter(({ from, to }) => to > over.from && from <= over.to);
  };
}

const stretchFrom = (hour: number): Span => ({
  from: epochMs(hour * STRETCH_MS),
  to: epochMs((hour + 2) * STRETCH_MS),
});

const windowsIn = ({ ...calendar }: Calendar, over: Span): readonly CalendarSpan[] =>
  CALENDAR_KINDS.flatMap((kind) =>
    windowsOver(calendar, kind, over, MOST_WINDOWS).map(({ from, to }) => ({
      ...{ kind, from, to },
      zone: calendar.zone,
    })),
  );
