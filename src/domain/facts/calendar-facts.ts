/**
 * Clock hours, shifts and fluid-balance days as facts: each once no level is awaited for it, of each drain and, where
 * two or more were in place, of the patient. One that is still running is shown by the service and not issued.
 */

import type { CalendarSpan, Policy } from '../advisories/policy.ts';
import { type CalendarWindow, calendarWindow, closedUntil } from '../calendar/calendar-windows.ts';
import { type PatientWindow, patientWindow } from '../calendar/patient-windows.ts';
import { type Chart, encounterAt, stateOf } from '../fold/chart.ts';
import type { DrainView } from '../fold/drain.ts';
import type { LevelPoint } from '../fold/interval.ts';
import { coveredThousandths } from '../fold/span.ts';
import { newestWhere } from '../numbers/history.ts';
import { writeInstantLike } from '../numbers/instant.ts';
import { approximately, rational, roundHalfEven } from '../numbers/rational.ts';
import { type EpochMs, thousandthsText } from '../numbers/units.ts';
import type { Component, Fact, Flag } from '../vocabulary/fact.ts';
import { confidence, errorOf, millilitres } from './derived-facts.ts';

/** A placed drain before or after a change. */
export interface DrainSide {
  readonly drain: string;
  readonly view: DrainView;
  readonly chart: Chart;
}

/** Closed windows of one drain, of those given. */
export function windowFacts(
  side: DrainSide,
  spans: readonly CalendarSpan[],
  policy: Policy,
): readonly Fact[] {
  const state = stateOf(side.chart);
  const closed = closedUntil(state, side.view);
  return spans.flatMap((span) => {
    // Most windows that a reading lies in still run: nothing is summed of those.
    if (closed === null || closed < span.to) return [];
    const window = calendarWindow(state, side.view, span, policy.settings);
    if (window === null) return [];
    return factOf(`net-drainage-${span.kind}`, span, window, [side], policy) ?? [];
  });
}

/** Closed windows of a patient, of those given, in which two or more of its drains were in place. */
export function patientWindowFacts(
  sides: readonly DrainSide[],
  spans: readonly CalendarSpan[],
  policy: Policy,
): readonly Fact[] {
  if (sides.length < 2) return [];
  const drains = sides.map(({ drain, view: { placedMs, removedMs }, chart }) => ({
    drain,
    placedMs,
    removedMs,
    state: stateOf(chart),
  }));
  return spans.flatMap((span) => {
    const window = patientWindow(drains, span, policy.settings);
    if (window.preliminary || window.drains.length < 2) return [];
    const inPlace = sides.filter(({ drain }) => window.drains.some((part) => part.drain === drain));
    return factOf(`patient-net-drainage-${span.kind}`, span, window, inPlace, policy) ?? [];
  });
}

function factOf(
  name: Fact['name'],
  span: CalendarSpan,
  window: Omit<CalendarWindow, 'uncovered'> | PatientWindow,
  sides: readonly DrainSide[],
  policy: Policy,
): Fact | null {
  const { sum, covered_ms: covered, in_place_ms: inPlace } = window;
  if (sum === null) return null;
  const isComplete = covered === inPlace;
  const flags: Flag[] = [];
  if (!isComplete) flags.push('lower-bound');
  if (sum.interpolated) flags.push('interpolated');
  flags.push(...confidence(approximately(sum.net), sum.uncertainty));
  const quantity = millilitres(sum.net);
  return {
    name,
    anchor: policy.nameOf(`${span.kind}\n${span.from}\n${span.to}\n${span.zone}`),
    effective: { from: utc(span.from), to: utc(span.to) },
    value: isComplete ? { quantity } : { quantity, at_least: true },
    components: componentsOf(sum, covered, inPlace),
    flags,
    derived_from: sides.flatMap((side) => {
      const end = endingLevel(side.chart, span.to);
      return end === null ? [] : [{ name: 'net-drainage' as const, anchor: end.id, drain: side.drain }];
    }),
    members: [],
    author: null,
    encounter: encounterAtEnd(sides[0], span),
    note: noteOf(span, window),
  };
}

function componentsOf(
  sum: NonNullable<CalendarWindow['sum']>,
  covered: number,
  inPlace: number,
): readonly Component[] {
  const coverage = roundHalfEven(rational(coveredThousandths(covered, Math.max(inPlace, 1)), 1000), 3);
  return [
    { name: 'drained', quantity: millilitres(sum.drained) },
    { name: 'sampled', quantity: thousandthsText(sum.sampled) },
    { name: 'instilled', quantity: thousandthsText(sum.instilled) },
    { name: 'net-low', quantity: thousandthsText(sum.net_low) },
    ...(sum.net_high === null
      ? []
      : [{ name: 'net-high', quantity: thousandthsText(sum.net_high) } as const]),
    ...(inPlace === 0 ? [] : [{ name: 'coverage', quantity: coverage } as const]),
    ...errorOf('uncertainty', sum.uncertainty === null ? null : sum.uncertainty / 1000, 1),
  ];
}

/** That of its last level: what is charted of an encounter later is not the window's. */
function encounterAtEnd(side: DrainSide | undefined, { from, to }: CalendarSpan): Fact['encounter'] {
  if (side === undefined) return null;
  return encounterAt(side.chart, endingLevel(side.chart, to)?.at ?? from);
}

/** The level that ends the last interval with time in the window. */
function endingLevel(chart: Chart, to: EpochMs): LevelPoint | null {
  return (
    newestWhere(stateOf(chart).intervals, ({ interval }) => interval.from.at < to)?.item.interval.to ?? null
  );
}

function noteOf(
  { kind, zone }: CalendarSpan,
  window: Omit<CalendarWindow, 'uncovered'> | PatientWindow,
): string {
  const what = { hour: 'Clock hour', shift: 'Shift', day: 'Fluid-balance day' }[kind];
  const lacking = 'incomplete' in window ? window.incomplete : [];
  const why = lacking.map(({ drain, reasons }) => `${drain} (${reasons.join(', ')})`);
  return `${what} of ${zone}.${why.length === 0 ? '' : ` Not covered: ${why.join('; ')}.`}`;
}

const utc = (at: EpochMs): string => writeInstantLike(at, 'Z');
