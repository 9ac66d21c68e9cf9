/** Whether air leak and fluid, as last charted, are as a policy has them. */

import { type LeakReading, leakReadings } from '../assessment/leak-readings.ts';
import { swingLostSpans } from '../assessment/patency.ts';
import { clampedSpans, type RowUnderConditions } from '../fold/conditions.ts';
import type { Span } from '../fold/interval.ts';
import { type EpochMs, HOUR_MS } from '../numbers/units.ts';
import type { FluidCharacter, Site } from '../vocabulary/entry.ts';
import type { Settings } from '../vocabulary/settings.ts';
import { isTooOld } from './removal-age.ts';
import type { FlowLimit, RemovalPolicy } from './removal-policies.ts';
import type { Status } from './removal-volume.ts';

export type NoConditionReason =
  | 'not-assessed'
  | 'assessed-too-long-ago'
  | 'swing-lost'
  | 'clamped'
  | 'gap-too-long'
  | 'shown-for-too-short'
  | 'not-named-by-the-source';

interface Condition<Name extends string> {
  readonly criterion: Name;
  readonly status: Status;
  readonly reason: NoConditionReason | null;
  readonly entries: readonly string[];
}

export interface LeakCriterion extends Condition<'air-leak'> {
  /** As the newest assessment shows; null where there is none. */
  readonly leak: boolean | null;
}

export interface FlowCriterion extends Condition<'air-flow'> {
  readonly limit: FlowLimit;
  /** Newest flow, thousandths of mL/min. The error of flow meters is not stated: no uncertainty is known. */
  readonly flow: number | null;
  /** Time for which readings show it below the limit, up to the newest, ms. */
  readonly below_ms: number | null;
}

export interface FluidCriterion extends Condition<'fluid'> {
  readonly character: FluidCharacter | null;
  readonly limit: NonNullable<RemovalPolicy['fluid']>;
}

const unknown = (reason: NoConditionReason) => ({ status: 'not-known', reason }) as const;
const known = (isMet: boolean) => ({ status: isMet ? 'met' : 'not-met', reason: null }) as const;

/** No leak, in the newest reading of an open tube that assessed it; a tube that lost its swing cannot show one. */
export function leakCriterion(
  rows: readonly RowUnderConditions[],
  site: Site | null,
  now: EpochMs,
): LeakCriterion {
  const newest = leakReadings(rows).at(-1);
  if (newest === undefined)
    return { criterion: 'air-leak', ...unknown('not-assessed'), leak: null, entries: [] };
  const isLost = swingLostSpans(rows, site).some(({ from, to }) => from < newest.at && newest.at < to);
  const found = newest.leak
    ? known(false)
    : isTooOld(newest.at, now)
      ? unknown('assessed-too-long-ago')
      : isLost
        ? unknown('swing-lost')
        : known(true);
  return { criterion: 'air-leak', ...found, leak: newest.leak, entries: [newest.row.item.id] };
}

/**
 * Flow below the limit for longer than the policy says, up to the newest reading of it: every reading in that time is
 * below, none is further from the next than local policy allows, and the tube was neither clamped nor without its swing.
 */
export function flowCriterion(
  limit: FlowLimit,
  rows: readonly RowUnderConditions[],
  site: Site | null,
  now: EpochMs,
  { max_gap_ms: maxGapMs }: Settings,
): FlowCriterion {
  const readings = leakReadings(rows).filter(({ flow }) => flow !== null);
  const newest = readings.at(-1);
  if (newest === undefined) {
    const nothing = { flow: null, below_ms: null, entries: [] };
    return { criterion: 'air-flow', limit, ...unknown('not-assessed'), ...nothing };
  }
  const { run, before } = runBelow(readings, limit, maxGapMs);
  const from = run[0]?.at ?? newest.at;
  const hidden = (spans: readonly Span[]) => spans.some((span) => span.from < newest.at && span.to > from);
  const needed = limit.longer_than_h * HOUR_MS;
  const isSeenAbove = before !== null && newest.at - before.at <= needed;
  const found = () => {
    if (isSeenAbove) return known(false);
    if (isTooOld(newest.at, now)) return unknown('assessed-too-long-ago');
    if (hidden(clampedSpans(rows))) return unknown('clamped');
    if (hidden(swingLostSpans(rows, site))) return unknown('swing-lost');
    if (newest.at - from > needed) return known(true);
    return unknown(run.length < readings.length && before === null ? 'gap-too-long' : 'shown-for-too-short');
  };
  const behind = before === null ? run : [before, ...run];
  return {
    criterion: 'air-flow',
    limit,
    flow: newest.flow,
    below_ms: newest.at - from,
    ...found(),
    entries: behind.map(({ row }) => row.item.id),
  };
}

/** Readings below the limit without a gap, up to the newest; and the one at or above it that comes right before. */
function runBelow(readings: readonly LeakReading[], limit: FlowLimit, maxGapMs: number) {
  const run: LeakReading[] = [];
  for (const reading of [...readings].reverse()) {
    const [first] = run;
    if ((reading.flow ?? 0) >= limit.threshold_ml_min * 1000) return { run, before: reading };
    if (first !== undefined && first.at - reading.at > maxGapMs) break;
    run.unshift(reading);
  }
  return { run, before: null };
}

/** The newest character charted, held to those the policy names; of several at one moment the one that meets it least. */
export function fluidCriterion(
  limit: NonNullable<RemovalPolicy['fluid']>,
  rows: readonly RowUnderConditions[],
  now: EpochMs,
): FluidCriterion {
  const charted = rows.flatMap(({ row: { item } }) => {
    const character = item.content.kind === 'reading' ? item.content.fluid_character : undefined;
    return character === undefined ? [] : [{ id: item.id, at: item.at, character }];
  });
  const newest = charted.at(-1);
  if (newest === undefined)
    return { criterion: 'fluid', ...unknown('not-assessed'), character: null, limit, entries: [] };
  const together = charted.filter(({ at }) => at === newest.at);
  const bad = together.find(({ character }) => limit.not_met_by.includes(character));
  const unnamed = together.find(({ character }) => !limit.met_by.includes(character));
  const found =
    bad !== undefined
      ? known(false)
      : unnamed !== undefined
        ? unknown('not-named-by-the-source')
        : isTooOld(newest.at, now)
          ? unknown('assessed-too-long-ago')
          : known(true);
  const { character } = bad ?? unnamed ?? newest;
  return { criterion: 'fluid', ...found, character, limit, entries: together.map(({ id }) => id) };
}
