/**
 * Which readings of a device are charted. An electronic unit reports every few seconds; a ward charts every quarter of an
 * hour or every hour. What comes in between is kept in the ledger as interim and is left out of the chart, so that volumes
 * are summed over the charted intervals, and a record is told what a ward would chart.
 *
 * The first reading at least `charted_every_min` after the last charted one is charted; and one in between, at once, where it
 * turns an advisory, is marked, ends an interval that is not plain, or says in words or grade something else than the last.
 * That is decided when it comes and kept with it, like its acceptance: what follows from the charted readings does not depend
 * on the order in which they came.
 */
import type { DrainChange } from '../book/changes.ts';
import type { Chart } from '../fold/chart.ts';
import type { Mark } from '../fold/marks.ts';
import type { Row } from '../fold/row.ts';
import { equal } from '../numbers/equal.ts';
import { newestWhere } from '../numbers/history.ts';
import { type EpochMs, epochMs, MINUTE_MS } from '../numbers/units.ts';
import type { EntryBody, Reading } from '../vocabulary/entry.ts';
import { turnsOf } from './turns.ts';

/**
 * @param chart without the reading
 * @param row of the reading, as it would be charted
 * @param changes what would follow from charting it
 */
export function isInterim(chart: Chart, row: Row, changes: readonly DrainChange[]): boolean {
  const { item, conditions } = row;
  const every = conditions.unit?.content.unit_profile.charted_every_min;
  if (every === undefined || item.author.type !== 'device' || !isPlain(row)) return false;
  const last = lastChartedAfter(chart, epochMs(item.at - (every.thousandths / 1000) * MINUTE_MS), item.at);
  return last !== undefined && equal(wordsOf(last), wordsOf(row)) && turnsOf(changes) === null;
}

/** These come with how a device is built or set, not with what happens at the drain. */
const ALWAYS_SO: readonly Mark[] = ['finer-than-graduations', 'clock-skew'];

/** What is left out of the arithmetic is marked; an interval without a plain volume is not, but has a reason. */
function isPlain({ marks, volumes }: Row): boolean {
  return (volumes?.interval.reason ?? null) === null && marks.every((mark) => ALWAYS_SO.includes(mark));
}

/** The newest reading of a device that is charted after one moment and not after another. */
function lastChartedAfter(chart: Chart, after: EpochMs, upTo: EpochMs): Row | undefined {
  let node = newestWhere(chart.instants, (instant) => instant.at <= upTo);
  for (; node !== null && node.item.at > after; node = node.before) {
    const row = node.item.rows.findLast(
      ({ item, counted }) => counted && item.content.kind === 'reading' && item.author.type === 'device',
    );
    if (row !== undefined) return row;
  }
  return undefined;
}

/** All that a reading says and that holds with it, but for what is measured on a scale without steps. */
function wordsOf({ item, conditions }: Row): object {
  const { source, clamped, unit } = conditions;
  // Taken away rather than picked, so that what a reading may say in future is looked at as well.
  const {
    identifier: _key,
    author: _author,
    as_sent: _sent,
    received: _received,
    ...said
  } = item.content as EntryBody & Reading;
  const { effective_at: _time, level_ml: _level, seal: _seal, pressure_cmh2o: _pressure, ...words } = said;
  const { column_cmh2o: _column, dial_cmh2o: _dial, ...suction } = words.suction ?? {};
  const { flow_ml_min: _flow, ...air_leak } = words.air_leak ?? {};
  return { ...words, suction, air_leak, source, clamped, unit: unit?.item.id };
}
