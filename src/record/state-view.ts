/** Where a drain stands: the newest of each value with its time and age, and what its whole chart shows. */
import { airLeakOf } from '../domain/assessment/air-leak.ts';
import { overdueAt } from '../domain/assessment/overdue.ts';
import { patencyOf } from '../domain/assessment/patency.ts';
import { setUpCheck } from '../domain/assessment/set-up-check.ts';
import type { Book } from '../domain/book/book.ts';
import { rowsFrom, stateOf } from '../domain/fold/chart.ts';
import { type RowUnderConditions, underConditions } from '../domain/fold/conditions.ts';
import type { DrainView } from '../domain/fold/drain.ts';
import type { Row } from '../domain/fold/row.ts';
import type { FoldState } from '../domain/fold/state.ts';
import { type EpochMs, epochMs } from '../domain/numbers/units.ts';
import type { RuleTable } from '../domain/vocabulary/rule.ts';
import { chartAsOf, drainViewOf } from './chart-view.ts';
import { airLeakView, patencyView, setUpCheckView } from './judged-view.ts';
import { ALGORITHM } from './receipt.ts';
import { standingOf } from './standing.ts';
import { chartRowView } from './view.ts';

/** Silence shows as age, never as 0 mL. @param every how often a reading is expected */
export function stateViewOf(
  book: Book,
  asOf: EpochMs | null,
  now: number,
  every: RuleTable['reading_every_h'],
) {
  const { view, circumstances } = book;
  const { settings } = circumstances;
  const chart = chartAsOf(book, asOf);
  const rows = rowsFrom(chart, epochMs(-Infinity));
  const under = underConditions(rows);
  const at = asOf ?? now;
  const aged = (row: Row | undefined) =>
    row === undefined ? null : { ...chartRowView(row), age_s: Math.floor((at - row.item.at) / 1000) };
  const lastVolumes = rows.findLast((row) => row.volumes !== null);
  const isIn = !isRemoved(view, asOf);
  // Out by now, it may have been in at the moment that is asked about.
  const overdue = isIn ? overdueAt({ ...view, removedMs: null }, chart, every, epochMs(at)) : null;
  return {
    ...drainViewOf(book),
    derivation: { algorithm: ALGORITHM, settings: settings.version },
    as_of: new Date(at).toISOString(),
    ...(isIn ? inUseView(stateOf(chart), under, lastVolumes, view) : NOT_IN_USE),
    air_leak: airLeakView(airLeakOf(under, view, settings)),
    overdue: overdue === null ? null : { expected_every_h: overdue.expected_h },
    last_reading: aged(rows.findLast((row) => row.item.content.kind === 'reading' && row.counted)),
    last_volumes: aged(lastVolumes),
    last_total_negativity: aged(rows.findLast((row) => row.negativity !== null)),
  };
}

const isRemoved = ({ removedMs }: DrainView, asOf: EpochMs | null): boolean =>
  removedMs !== null && (asOf === null || removedMs <= asOf);

/** A drain that is out has no unit, level, suction or clamp: what they were stands in the chart. */
const NOT_IN_USE = {
  unit: null,
  level_ml: null,
  fill_fraction: null,
  suction_source: null,
  total_negativity: null,
  clamped_since: null,
  chamber: null,
  set_up_check: null,
  patency: null,
} as const;

function inUseView(
  state: FoldState,
  under: readonly RowUnderConditions[],
  lastVolumes: Row | undefined,
  { site }: DrainView,
) {
  const { chamber, ...standing } = standingOf(state, under, lastVolumes);
  const check = setUpCheck(under);
  return {
    ...standing,
    fill_fraction: chamber?.fill_fraction ?? null,
    chamber,
    set_up_check: check === null ? null : setUpCheckView(check),
    patency: patencyView(patencyOf(under, site)),
  };
}
