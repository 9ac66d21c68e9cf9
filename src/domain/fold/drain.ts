/** What is known of a drain as a whole, from the few statements that hold for all its time. */

import { equal } from '../numbers/equal.ts';
import { type EpochMs, epochMs, grams } from '../numbers/units.ts';
import type { DrainFacts, Placed, Reference } from '../vocabulary/entry.ts';
import { identifierText } from '../vocabulary/identifier-text.ts';
import type { Settings } from '../vocabulary/settings.ts';
import type { Item } from './chains.ts';
import type { Circumstances } from './circumstances.ts';
import { compareIdentifiers, compareItems } from './order.ts';
import type { Weight } from './weight.ts';

/** What stands of a drain: its facts, and when it was placed and removed. */
export interface DrainView extends DrainFacts {
  readonly site: Placed['site'] | null;
  readonly tubes: readonly string[];
  readonly placed_at: string | null;
  readonly placedMs: EpochMs | null;
  readonly removed_at: string | null;
  readonly removedMs: EpochMs | null;
  readonly weights: readonly Weight[];
}

const WHOLE_DRAIN = new Set(['placed', 'drain-updated', 'removed', 'weighed']);

/** Whether a statement changes what is known of the drain as a whole. */
export const isOfWholeDrain = (item: Item): boolean => WHOLE_DRAIN.has(item.content.kind);

/** A clock that ran too far ahead: what it timed does not count until its time is confirmed. */
export const isTimeInQuestion = (item: Item, { max_future_ms: limit }: Settings): boolean =>
  item.at - item.recorded_ms > limit;

/** @param items those of {@link isOfWholeDrain} that stand, in any order */
export function drainView(drain: string, items: readonly Item[], settings: Settings): DrainView {
  const ordered = items.filter((item) => !isTimeInQuestion(item, settings)).sort(compareItems);
  let facts: DrainFacts = {};
  const weights: Weight[] = [];
  for (const { content, at, id, identifier } of ordered) {
    if (content.kind === 'placed' || content.kind === 'drain-updated')
      facts = { ...facts, ...factsIn(content) };
    if (content.kind === 'weighed') {
      weights.push({ at, id, identifier, drain, weight: grams(content.weight_kg.thousandths) });
    }
  }
  const placement = ordered.findLast(({ content }) => content.kind === 'placed');
  const placed = placement?.content.kind === 'placed' ? placement.content : null;
  const placedMs = placement?.at ?? null;
  const removal = ordered.find(
    ({ content, at }) => content.kind === 'removed' && placedMs !== null && at >= placedMs,
  );
  return {
    ...facts,
    site: placed?.site ?? null,
    tubes: placed?.tubes ?? [],
    placed_at: placed?.effective_at ?? null,
    placedMs,
    removed_at: removal?.content.effective_at ?? null,
    removedMs: removal?.at ?? null,
    weights,
  };
}

function factsIn(content: DrainFacts): DrainFacts {
  const { patient, encounter, population, indication, chest_closed_at, unit_arrived_at, injured_at } =
    content;
  const stated = { patient, encounter, population, indication, chest_closed_at, unit_arrived_at, injured_at };
  return Object.fromEntries(Object.entries(stated).filter(([, value]) => value !== undefined));
}

/** The same patient on two drains: by reference, else by identifier; null while none is linked. */
export function patientKey(patient: Reference | undefined): string | null {
  if (patient?.reference !== undefined) return patient.reference;
  if (patient?.identifier !== undefined) return identifierText(patient.identifier);
  return null;
}

/** Whether two names are of one patient, by what both name them by; unknown is no. */
export function isSamePatient(a: Reference, b: Reference | undefined): boolean {
  if (a.reference !== undefined && b?.reference !== undefined) return a.reference === b.reference;
  const [ours, theirs] = [a.identifier, b?.identifier];
  return ours !== undefined && ours.system === theirs?.system && ours.value === theirs.value;
}

/** @param weights of all drains of the patient */
export function circumstancesOf(
  view: DrainView,
  weights: readonly Weight[],
  settings: Settings,
): Circumstances {
  return {
    placedAt: view.placedMs,
    removedAt: view.removedMs,
    population: view.population,
    weights: [...weights].sort((a, b) => a.at - b.at || compareIdentifiers(a.identifier, b.identifier)),
    settings,
  };
}

/** The earliest time from which a change of circumstances may change a row; undefined when it changes none. */
export function changedSince(before: Circumstances, after: Circumstances): EpochMs | undefined {
  if (before.population !== after.population) return epochMs(-Infinity);
  const times: number[] = [];
  if (before.placedAt !== after.placedAt) {
    times.push(Math.min(before.placedAt ?? -Infinity, after.placedAt ?? -Infinity));
  }
  if (before.removedAt !== after.removedAt) {
    times.push(Math.min(before.removedAt ?? Infinity, after.removedAt ?? Infinity));
  }
  const most = Math.max(before.weights.length, after.weights.length);
  for (let i = 0; i < most; i += 1) {
    const [a, b] = [before.weights[i], after.weights[i]];
    if (equal(a, b)) continue;
    times.push(Math.min(a?.at ?? Infinity, b?.at ?? Infinity));
    break;
  }
  return times.length === 0 ? undefined : epochMs(Math.min(...times));
}
