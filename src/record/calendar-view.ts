/** The wire form of calendar windows: mL and mL/h, rounded once, here, half to even; moments in UTC and as the wall clock shows them. */

import type { Book, Subject } from '../domain/book/book.ts';
import { type DrainSums, sumsOf } from '../domain/book/drain-sums.ts';
import {
  type CalendarWindow,
  calendarWindow,
  lengthOf,
  newestLevelAt,
  windowRate,
} from '../domain/calendar/calendar-windows.ts';
import {
  closedTogether,
  type DrainOfPatient,
  type PatientWindow,
  patientWindow,
} from '../domain/calendar/patient-windows.ts';
import { stateOf } from '../domain/fold/chart.ts';
import { patientKey } from '../domain/fold/drain.ts';
import type { Span } from '../domain/fold/interval.ts';
import { coveredThousandths } from '../domain/fold/span.ts';
import { isLowConfidence } from '../domain/fold/uncertainty.ts';
import { approximately, rational, roundHalfEven } from '../domain/numbers/rational.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../domain/numbers/units.ts';
import type { Calendar } from '../domain/vocabulary/configuration.ts';
import type { CalendarKind } from '../domain/vocabulary/fact.ts';
import type { Settings } from '../domain/vocabulary/settings.ts';
import { localText, timeOfDayText, windowsOver } from './calendar.ts';
import { mlOf, uncertaintyMl } from './figures.ts';
import { ALGORITHM } from './receipt.ts';

/** What is asked for; null stands for the default. */
export interface Asked {
  readonly kind: CalendarKind;
  readonly from: EpochMs | null;
  readonly to: EpochMs | null;
}

/** More windows than one answer may hold. */
export interface TooMany {
  readonly tooMany: true;
}

export const MOST_WINDOWS = 200;
const DEFAULT_HOURS = { hour: 24, shift: 24, day: 72 } as const;

/** A drain's windows. */
export function windowsViewOf(book: Book, calendar: Calendar, asked: Asked): object | TooMany {
  const { settings } = book.circumstances;
  const state = stateOf(book.chart);
  const found = spansOf(calendar, asked, newestLevelAt(state));
  if ('tooMany' in found) return found;
  return {
    drain: book.drain,
    as_of: textOf(newestLevelAt(state)),
    ...headView(calendar, asked.kind, settings),
    ...rangeView(found.over),
    windows: found.spans.map((span) => ({
      ...spanView(calendar, span),
      ...drainWindowView(calendarWindow(state, book.view, span, settings), settings),
    })),
  };
}

/** Sums over all drains of the patient of a drain; a drain that is linked to no patient stands alone. */
export function patientWindowsViewOf(
  subject: Subject,
  book: Book,
  calendar: Calendar,
  asked: Asked,
): object | TooMany {
  const { settings } = book.circumstances;
  const drains = drainsOfPatient(subject, book);
  const closed = closedTogether(drains);
  const found = spansOf(calendar, asked, closed);
  if ('tooMany' in found) return found;
  return {
    drain: book.drain,
    patient: book.view.patient ?? null,
    drains: drains.map(({ drain }) => drain),
    ...headView(calendar, asked.kind, settings),
    ...rangeView(found.over),
    closed_together_at: textOf(closed),
    windows: found.spans.map((span) => ({
      ...spanView(calendar, span),
      ...patientWindowView(patientWindow(drains, span, settings), settings),
    })),
  };
}

const drainsOfPatient = (subject: Subject, book: Book): readonly DrainOfPatient[] =>
  ofPatient(
    [...subject.values()].map((each) => ({ sums: sumsOf(each) })),
    book,
  ).map(({ sums }) => placeOf(sums));

/** Those that are linked to the patient of one of them now, itself included, in order of their names. */
export function ofPatient<T extends { readonly sums: DrainSums }>(
  all: readonly T[],
  { drain, view }: Pick<DrainSums, 'drain' | 'view'>,
): readonly T[] {
  const key = patientKey(view.patient);
  return all
    .filter(({ sums }) => sums.drain === drain || (key !== null && patientKey(sums.view.patient) === key))
    .filter(({ sums }) => sums.view.placedMs !== null)
    .sort((a, b) => (a.sums.drain < b.sums.drain ? -1 : 1));
}

export const placeOf = ({ drain, view: { placedMs, removedMs }, state }: DrainSums): DrainOfPatient => ({
  drain,
  placedMs,
  removedMs,
  state,
});

function spansOf(calendar: Calendar, { kind, from, to }: Asked, newest: EpochMs | null) {
  const end = to ?? newest;
  if (end === null) return { over: null, spans: [] };
  const over: Span = { from: from ?? epochMs(end - DEFAULT_HOURS[kind] * HOUR_MS), to: end };
  const spans = windowsOver(calendar, kind, over, MOST_WINDOWS + 1);
  return spans.length > MOST_WINDOWS ? ({ tooMany: true } as const) : { over, spans };
}

function utc(at: EpochMs): string {
  const text = new Date(at).toISOString();
  return at % 1000 === 0 ? `${text.slice(0, 19)}Z` : text;
}

export function headView(calendar: Calendar, kind: CalendarKind, settings: Settings) {
  return {
    derivation: { algorithm: ALGORITHM, settings: settings.version },
    calendar: {
      zone: calendar.zone,
      day_start: timeOfDayText(calendar.dayStart),
      shift_starts: calendar.shiftStarts.map(timeOfDayText),
    },
    kind,
  };
}

export const textOf = (at: EpochMs | null): string | null => (at === null ? null : utc(at));

export function rangeView(over: Span | null) {
  return over === null ? { from: null, to: null } : { from: utc(over.from), to: utc(over.to) };
}

function spanView(calendar: Calendar, span: Span) {
  return {
    from: utc(span.from),
    to: utc(span.to),
    local_from: localText(calendar, span.from),
    local_to: localText(calendar, span.to),
    elapsed_h: hours(lengthOf(span)),
  };
}

const hours = (ms: number): number => Number(roundHalfEven(rational(ms, HOUR_MS), 3));

const NOT_IN_PLACE = {
  reason: 'not-in-place',
  net_ml: null,
  in_place_h: 0,
  coverage: null,
  at_least: false,
  preliminary: false,
} as const;

function drainWindowView(window: CalendarWindow | null, settings: Settings) {
  if (window === null) return { ...NOT_IN_PLACE, uncovered: [] };
  return { ...sumView(window, 1, settings), uncovered: window.uncovered };
}

function patientWindowView(window: PatientWindow, settings: Settings) {
  const { drains, incomplete } = window;
  const parts = drains.map((part) => ({ drain: part.drain, ...drainWindowView(part.window, settings) }));
  if (drains.length === 0) return { ...NOT_IN_PLACE, incomplete, drains: parts };
  return { ...sumView(window, drains.length, settings), incomplete, drains: parts };
}

function sumView(
  window: Omit<CalendarWindow, 'uncovered'> | PatientWindow,
  drainsInPlace: number,
  settings: Settings,
) {
  const { sum, in_place_ms: inPlace, covered_ms: covered, preliminary } = window;
  const common = {
    preliminary,
    in_place_h: hours(inPlace),
    coverage: inPlace === 0 ? null : coveredThousandths(covered, inPlace) / 1000,
  };
  if (sum === null) return { reason: 'not-covered', net_ml: null, at_least: false, ...common };
  return {
    reason: null,
    net_ml: mlOf(sum.net),
    at_least: covered < inPlace,
    ...common,
    uncertainty_ml: uncertaintyMl(sum.uncertainty),
    low_confidence: isLowConfidence(approximately(sum.net), sum.uncertainty),
    drained_ml: mlOf(sum.drained),
    sampled_ml: sum.sampled / 1000,
    instilled_ml: sum.instilled / 1000,
    net_low_ml: sum.net_low / 1000,
    net_high_ml: sum.net_high === null ? null : sum.net_high / 1000,
    interpolated: sum.interpolated,
    ...rateView(windowRate(window, drainsInPlace, settings)),
  };
}

function rateView(rate: ReturnType<typeof windowRate>) {
  if (rate.value === null) return { rate_ml_h: null, rate_reason: rate.reason };
  return {
    rate_ml_h: Number(roundHalfEven(rate.value, 1)),
    rate_uncertainty_ml_h: rate.uncertainty === null ? null : Number(rate.uncertainty.toFixed(1)),
  };
}
