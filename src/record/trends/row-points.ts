/** What the rows of a chart give: one point a level or reading, as it was charted and derived there. */

import { leakReading } from '../../domain/assessment/leak-readings.ts';
import { netOf } from '../../domain/fold/interval.ts';
import type { Rate } from '../../domain/fold/rate.ts';
import { completenessOf, type Row, type Volumes } from '../../domain/fold/row.ts';
import { coveredThousandths } from '../../domain/fold/span.ts';
import { isLowConfidence } from '../../domain/fold/uncertainty.ts';
import { approximately } from '../../domain/numbers/rational.ts';
import { HOUR_MS } from '../../domain/numbers/units.ts';
import { ml, mlOf, rounded, toDecimals, uncertaintyMl } from '../figures.ts';
import { flagsOf, moment, NO_POINT, type Point, type SeriesName } from './point.ts';

type OfRow = (row: Row) => Point | null;

const ofVolumes =
  (point: (volumes: Volumes) => Point | null): OfRow =>
  ({ volumes }) =>
    volumes === null ? null : point(volumes);

const window = (hours: number): OfRow => ofVolumes((volumes) => windowPoint(volumes, hours));

const POINT_OF: Readonly<Record<SeriesName, OfRow>> = {
  net: ofVolumes(netPoint),
  cumulative: ofVolumes(cumulativePoint),
  rate: ofVolumes((volumes) => ratePoint(volumes, wallClock)),
  rate_per_kg: ofVolumes((volumes) => ratePoint(volumes, perKilogram)),
  window_1h: window(1),
  window_4h: window(4),
  window_8h: window(8),
  window_12h: window(12),
  window_24h: window(24),
  suction: suctionPoint,
  seal: sealPoint,
  total_negativity: negativityPoint,
  leak_grade: (row) => leakPoint(row, 'grade'),
  leak_flow: (row) => leakPoint(row, 'flow'),
};

/** One series of these rows, in order of time. */
export const rowPoints = (rows: readonly Row[], series: SeriesName): readonly Point[] =>
  rows.flatMap((row) => POINT_OF[series](row) ?? []);

const spanOf = ({ interval }: Volumes) => ({ from: interval.from.at, to: interval.to.at });

function netPoint(volumes: Volumes): Point {
  const { interval, uncertainty } = volumes;
  const net = netOf(interval);
  return {
    ...NO_POINT,
    ...spanOf(volumes),
    value: ml(net),
    reasons: interval.reason === null ? [] : [interval.reason],
    uncertainty: uncertaintyMl(uncertainty.interval),
    coverage: interval.status === 'measured' && !interval.suspect ? 1 : 0,
    at_least: interval.status === 'at-least',
    flags: flagsOf({
      suspect: interval.suspect,
      'low-confidence': isLowConfidence(net, uncertainty.interval),
    }),
  };
}

function cumulativePoint({ cumulative, uncertainty, interval }: Volumes): Point {
  const kind = completenessOf(cumulative);
  const isPart = kind === 'measured-part';
  return {
    ...NO_POINT,
    ...moment(interval.to.at),
    value: isPart ? null : ml(cumulative.net),
    reasons: cumulative.reasons,
    // The sum of the measured intervals: never a total while a reason stands.
    low: ml(cumulative.net),
    uncertainty: uncertaintyMl(uncertainty.cumulative),
    at_least: kind === 'at-least',
  };
}

type Known =
  | { readonly value: number; readonly uncertainty: number | null }
  | { readonly reasons: readonly [string] };

function wallClock(rate: Rate): Known {
  if (rate.value === null) return { reasons: [rate.reason] };
  return { value: rounded(rate.value, 1), uncertainty: toDecimals(rate.uncertainty, 1) };
}

function perKilogram(rate: Rate): Known {
  if (rate.value === null) return { reasons: [rate.reason] };
  const { per_kg } = rate;
  if (per_kg.value === null) return { reasons: [per_kg.reason] };
  return { value: rounded(per_kg.value, 2), uncertainty: toDecimals(per_kg.uncertainty, 2) };
}

function ratePoint(volumes: Volumes, read: (rate: Rate) => Known): Point {
  const { interval, rate, uncertainty } = volumes;
  const flags = flagsOf({
    suspect: interval.suspect,
    'low-confidence': isLowConfidence(netOf(interval), uncertainty.interval),
  });
  return { ...NO_POINT, ...spanOf(volumes), flags, ...read(rate) };
}

function windowPoint({ windows }: Volumes, hours: number): Point | null {
  const found = windows.find((each) => each.hours === hours);
  if (found === undefined) return null;
  const length = hours * HOUR_MS;
  return {
    ...NO_POINT,
    from: found.from,
    to: found.to,
    value: mlOf(found.net),
    low: ml(found.net_low),
    high: ml(found.net_high),
    uncertainty: uncertaintyMl(found.uncertainty),
    coverage: coveredThousandths(found.covered_ms, length) / 1000,
    at_least: found.covered_ms < length,
    flags: flagsOf({
      interpolated: found.interpolated,
      'low-confidence': isLowConfidence(approximately(found.net), found.uncertainty),
    }),
  };
}

/** As charted: the column of a wet unit, the dial of a dry one; 0 where the source is charted off. */
function suctionPoint({ item, counted }: Row): Point | null {
  const { content } = item;
  const said =
    content.kind === 'suction-changed' ? content : 'suction' in content ? content.suction : undefined;
  if (!counted || said === undefined) return null;
  const shown = said.source === 'off' ? 0 : (said.column_cmh2o ?? said.dial_cmh2o)?.toJSON();
  return shown === undefined ? null : read(item.at, shown);
}

function sealPoint({ item, counted }: Row): Point | null {
  const { content } = item;
  if (!counted || content.kind !== 'reading' || content.seal === undefined) return null;
  const { level_cmh2o: level, swing_low_cmh2o: low, swing_high_cmh2o: high } = content.seal;
  const swing = { low: low?.toJSON() ?? null, high: high?.toJSON() ?? null };
  if (level !== undefined) return { ...read(item.at, level.toJSON()), ...swing };
  if (low === undefined && high === undefined) return null;
  return { ...NO_POINT, ...moment(item.at), ...swing, reasons: ['only-seal-swing-charted'], readings: 1 };
}

const read = (at: Row['item']['at'], value: number): Point => ({
  ...NO_POINT,
  ...moment(at),
  value,
  readings: 1,
});

function negativityPoint({ item, negativity }: Row): Point | null {
  if (negativity === null) return null;
  if (negativity.value !== null) return read(item.at, negativity.value / 1000);
  const { low, high, reason } = negativity;
  return { ...NO_POINT, ...moment(item.at), low: ml(low), high: ml(high), reasons: [reason], readings: 1 };
}

/** Of an open tube; a grade beyond its scale is no grade. */
function leakPoint(row: Row, quantity: 'grade' | 'flow'): Point | null {
  if (!row.counted) return null;
  const found = leakReading({ row, conditions: row.conditions });
  const value = found?.[quantity] ?? null;
  if (found === null || value === null) return null;
  const scale_max = quantity === 'grade' && found.scaleMax !== null ? found.scaleMax / 1000 : null;
  return { ...read(found.at, value / 1000), scale_max };
}
