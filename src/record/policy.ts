/** Local policy as the derivation takes it: rule tables and calendars, each from when on it was in force. */

import {
  type CalendarSpan,
  type Policy,
  type RulesInForce,
  rulesThroughTime,
} from '../domain/advisories/policy.ts';
import type { Span } from '../domain/fold/interval.ts';
import { epochMs, HOUR_MS } from '../domain/numbers/units.ts';
import type { Calendar } from '../domain/vocabulary/configuration.ts';
import type { Settings } from '../domain/vocabulary/settings.ts';
import { CALENDAR_KINDS, windowsOver } from './calendar.ts';
import { nameOfText } from './names.ts';

/** A rule table and a calendar, and from when on they hold. */
interface PolicyInForce extends RulesInForce {
  readonly calendar: Calendar;
}

/** @param versions in order of time, at least one */
export function createPolicy(settings: Settings, versions: readonly PolicyInForce[]): Policy {
  const kept = versions.map(({ calendar }) => keptWindows(calendar));
  return {
    settings,
    rules: rulesThroughTime(versions),
    nameOf: keptNames(),
    windowsOver: (over) =>
      kept.flatMap((windows, n) => {
        const from = n === 0 ? -Infinity : (versions[n]?.from ?? Infinity);
        const to = versions[n + 1]?.from ?? Infinity;
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

const MOST_KEPT = 1_000;
const MOST_WINDOWS = 1_000_000;

/** Zone look-ups are slow, and readings of all drains fall into the same hours: the windows of two hours are kept by the first. */
function keptWindows(calendar: Calendar): (over: Span) => readonly CalendarSpan[] {
  const kept = new Map<number, readonly CalendarSpan[]>();
  return (over) => {
    const first = Math.floor(over.from / HOUR_MS);
    if (over.to >= (first + 2) * HOUR_MS) {
      return windowsIn(calendar, { from: over.from, to: epochMs(over.to + 1) });
    }
    const found = kept.get(first) ?? windowsIn(calendar, twoHoursFrom(first));
    if (kept.size > MOST_KEPT) kept.clear();
    kept.set(first, found);
    return found.filter(({ from, to }) => to > over.from && from <= over.to);
  };
}

const twoHoursFrom = (hour: number): Span => ({
  from: epochMs(hour * HOUR_MS),
  to: epochMs((hour + 2) * HOUR_MS),
});

const windowsIn = (calendar: Calendar, over: Span): readonly CalendarSpan[] =>
  CALENDAR_KINDS.flatMap((kind) =>
    windowsOver(calendar, kind, over, MOST_WINDOWS).map(({ from, to }) => ({
      kind,
      from,
      to,
      zone: calendar.zone,
    })),
  );
