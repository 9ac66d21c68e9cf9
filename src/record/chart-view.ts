/** A drain as dashboards and bedside read it: what it is, its chart, and where it stands. */

import type { Book } from '../domain/book.ts';
import { itemOf } from '../domain/chains.ts';
import { type Chart, foldAll, rowsFrom, stateOf } from '../domain/chart.ts';
import type { Row } from '../domain/row.ts';
import { type EpochMs, epochMs } from '../domain/units.ts';
import { ALGORITHM } from './receipt.ts';
import { chartRowView } from './view.ts';

export function drainViewOf({ drain, head, view }: Book) {
  const { weights: _weights, placedMs: _placed, removedMs: _removed, ...facts } = view;
  return { drain, ...facts, entries: head };
}

/** The chart of what is charted up to a moment, or all of it. */
function chartAsOf(book: Book, asOf: EpochMs | null): Chart {
  if (asOf === null) return book.chart;
  const items = [...book.chains.values()].flatMap((chain) => itemOf(chain) ?? []);
  return foldAll(
    items.filter((item) => item.at <= asOf),
    book.circumstances,
  );
}

export function chartViewOf(book: Book, asOf: EpochMs | null) {
  return {
    ...drainViewOf(book),
    derivation: { algorithm: ALGORITHM, settings: book.circumstances.settings.version },
    rows: rowsFrom(chartAsOf(book, asOf), epochMs(-Infinity)).map(chartRowView),
  };
}

/** The newest of each value, with its time and age: silence shows as age, never as 0 mL. */
export function stateViewOf(book: Book, asOf: EpochMs | null, now: number) {
  const chart = chartAsOf(book, asOf);
  const rows = rowsFrom(chart, epochMs(-Infinity));
  const { chamber, suctionSource } = stateOf(chart);
  const at = asOf ?? now;
  const aged = (row: Row | undefined) =>
    row === undefined ? null : { ...chartRowView(row), age_s: Math.floor((at - row.item.at) / 1000) };
  const capacity = chamber.profile?.capacity_ml.thousandths;
  const level = chamber.run?.last.level;
  return {
    ...drainViewOf(book),
    derivation: { algorithm: ALGORITHM, settings: book.circumstances.settings.version },
    as_of: new Date(at).toISOString(),
    unit: chamber.profile,
    level_ml: level === undefined ? null : level / 1000,
    fill_fraction:
      level === undefined || capacity === undefined ? null : Number((level / capacity).toFixed(3)),
    suction_source: suctionSource,
    clamped_since: chamber.clampedSince === null ? null : new Date(chamber.clampedSince).toISOString(),
    last_reading: aged(rows.findLast((row) => row.item.content.kind === 'reading' && row.counted)),
    last_volumes: aged(rows.findLast((row) => row.volumes !== null)),
    last_total_negativity: aged(rows.findLast((row) => row.negativity !== null)),
  };
}
