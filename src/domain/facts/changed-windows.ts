/** Which calendar windows a change of some charts may have changed, and what they say before and after it. */

import type { CalendarSpan, Policy } from '../advisories/policy.ts';
import { stateOf } from '../fold/chart.ts';
import { patientKey } from '../fold/drain.ts';
import { lengthMs, type Span } from '../fold/interval.ts';
import { newestWhere } from '../numbers/history.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Fact } from '../vocabulary/fact.ts';
import { type DrainSide, patientWindowFacts, windowFacts } from './calendar-facts.ts';

/** One drain of the subject. */
export interface ChangedSide {
  readonly drain: string;
  /** Null where it was not placed, or is not any more. */
  readonly before: DrainSide | null;
  readonly after: DrainSide | null;
  /** The earliest time from which it differs; null where it does not. */
  readonly since: EpochMs | null;
}

export interface FactChange {
  readonly before: readonly Fact[];
  readonly after: readonly Fact[];
}

/** By the drain that keeps the facts. A patient's are kept with the first of its drains that was placed. */
export function changedWindows(
  sides: readonly ChangedSide[],
  policy: Policy,
): ReadonlyMap<string, FactChange> {
  const changes = new Map<string, FactChange>();
  for (const { drain, before, after, since } of sides) {
    if (since === null) continue;
    const both = [before, after].flatMap((side) => side ?? []);
    const spans = windowsSince(both, since, policy);
    changes.set(drain, {
      before: before === null ? [] : windowFacts(before, spans, policy),
      after: after === null ? [] : windowFacts(after, spans, policy),
    });
  }
  return sides.length === 1 ? changes : withPatients(changes, sides, policy);
}

function withPatients(
  changes: Map<string, FactChange>,
  sides: readonly ChangedSide[],
  policy: Policy,
): ReadonlyMap<string, FactChange> {
  const groupsBefore = patientsIn(sides.flatMap(({ before }) => before ?? []));
  const groupsAfter = patientsIn(sides.flatMap(({ after }) => after ?? []));
  for (const home of new Set([...groupsBefore.keys(), ...groupsAfter.keys()])) {
    const [before, after] = [groupsBefore.get(home) ?? [], groupsAfter.get(home) ?? []];
    const touched = sides.filter(({ drain }) => [...before, ...after].some((side) => side.drain === drain));
    const since = Math.min(...touched.map((side) => side.since ?? Infinity));
    if (since === Infinity) continue;
    const spans = windowsSince([...before, ...after], epochMs(since), policy);
    const own = changes.get(home) ?? { before: [], after: [] };
    changes.set(home, {
      before: [...own.before, ...patientWindowFacts(before, spans, policy)],
      after: [...own.after, ...patientWindowFacts(after, spans, policy)],
    });
  }
  return changes;
}

/** Drains of each patient, by the one that keeps what is said of them together. */
function patientsIn(sides: readonly DrainSide[]): ReadonlyMap<string, readonly DrainSide[]> {
  const ordered = [...sides].sort(
    (a, b) => (a.view.placedMs ?? 0) - (b.view.placedMs ?? 0) || (a.drain < b.drain ? -1 : 1),
  );
  const byPatient = new Map<string, DrainSide[]>();
  for (const side of ordered) {
    const key = patientKey(side.view.patient);
    if (key === null) continue;
    const group = byPatient.get(key);
    if (group === undefined) byPatient.set(key, [side]);
    else group.push(side);
  }
  return new Map([...byPatient.values()].map((group) => [group[0]?.drain ?? '', group]));
}

/**
 * The windows with any time that was not settled before a moment. Within an interval too long to be cut nothing is
 * known, so only the windows at its ends are asked for, however long it is.
 */
function windowsSince(sides: readonly DrainSide[], since: EpochMs, policy: Policy): readonly CalendarSpan[] {
  const settled = Math.min(...sides.map((side) => settledBefore(side, since)));
  const spans = sides.flatMap((side) => timesKnown(side, settled, policy.settings.max_gap_ms));
  // What was settled up to a moment within a window leaves that window unsettled, with what is known earlier in it.
  if (Number.isFinite(settled)) spans.push({ from: epochMs(settled), to: epochMs(settled) });
  const windows = new Map<string, CalendarSpan>();
  for (const over of merged(spans)) {
    for (const window of policy.windowsOver(over)) windows.set(`${window.kind} ${window.from}`, window);
  }
  return [...windows.values()];
}

/** Up to when no further level was awaited, looking only at what is earlier than a moment. */
function settledBefore({ view, chart }: DrainSide, since: EpochMs): number {
  if (view.removedMs !== null && view.removedMs < since) return Infinity;
  const last = newestWhere(stateOf(chart).intervals, ({ interval }) => interval.to.at < since);
  return last?.item.interval.to.at ?? view.placedMs ?? -Infinity;
}

function timesKnown({ chart }: DrainSide, settled: number, maxGapMs: number): Span[] {
  const { intervals, flows } = stateOf(chart);
  const spans: Span[] = [];
  for (let node = intervals; node !== null && node.item.interval.to.at >= settled; node = node.before) {
    const { from, to } = node.item.interval;
    if (lengthMs(node.item.interval) <= maxGapMs) spans.push({ from: from.at, to: to.at });
    else spans.push({ from: from.at, to: from.at }, { from: to.at, to: to.at });
  }
  for (let node = flows; node !== null && node.item.at >= settled; node = node.before)
    spans.push({ from: node.item.at, to: node.item.at });
  return spans;
}

/** Overlapping and touching spans as one, in order. */
function merged(spans: readonly Span[]): readonly Span[] {
  const joined: Span[] = [];
  for (const span of [...spans].sort((a, b) => a.from - b.from)) {
    const last = joined.at(-1);
    if (last === undefined || span.from > last.to) joined.push(span);
    else joined[joined.length - 1] = { from: last.from, to: epochMs(Math.max(last.to, span.to)) };
  }
  return joined;
}
