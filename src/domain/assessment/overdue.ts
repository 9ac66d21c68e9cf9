/**
 * Whether a drain has gone unread for longer than expected, as of a moment. Silence is age, never 0 mL.
 *
 * age = moment − last counted reading, or − placement before the first; overdue: age > expected interval.
 */
import type { Item } from '../fold/chains.ts';
import type { Chart } from '../fold/chart.ts';
import type { DrainView } from '../fold/drain.ts';
import { type EpochMs, HOUR_MS } from '../numbers/units.ts';
import type { RuleTable } from '../vocabulary/rule.ts';

export interface Overdue {
  /** As charted; null before the first reading. */
  readonly last_reading_at: string | null;
  readonly age_ms: number;
  readonly expected_h: number;
}

/** Of a drain whose population is not stated the shorter interval is expected, h. */
export const expectedEveryH = (
  population: DrainView['population'],
  every: RuleTable['reading_every_h'],
): number => (population === undefined ? Math.min(every.adult, every.paediatric) : every[population]);

/** @returns null where the drain is out, not placed yet, or not overdue */
export function overdueAt(
  { placedMs, removedMs, population }: DrainView,
  chart: Chart,
  every: RuleTable['reading_every_h'],
  now: EpochMs,
): Overdue | null {
  if (placedMs === null || removedMs !== null) return null;
  const read = newestReading(chart);
  const expected_h = expectedEveryH(population, every);
  const age_ms = now - (read?.at ?? placedMs);
  if (age_ms <= expected_h * HOUR_MS) return null;
  return { last_reading_at: read?.content.effective_at ?? null, age_ms, expected_h };
}

function newestReading({ instants }: Chart): Item | null {
  for (let node = instants; node !== null; node = node.before) {
    const row = node.item.rows.findLast(({ counted, item }) => counted && item.content.kind === 'reading');
    if (row !== undefined) return row.item;
  }
  return null;
}
