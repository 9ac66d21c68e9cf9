/** The wire form of what a whole chart shows of leak, chamber, set-up and swing: rounded once, here, half to even. */
import type { AirLeak, LeakDays, LeakFree } from '../domain/assessment/air-leak.ts';
import type { ChamberFill, TimeToFull } from '../domain/assessment/chamber.ts';
import type { LeakReading } from '../domain/assessment/leak-readings.ts';
import type { LeakQuantity, LeakTrend } from '../domain/assessment/leak-trend.ts';
import type { Patency, SwingSeen } from '../domain/assessment/patency.ts';
import type { CheckedItem, SetUpCheck } from '../domain/assessment/set-up-check.ts';
import type { Row } from '../domain/fold/row.ts';
import { type Rational, rational } from '../domain/numbers/rational.ts';
import { HOUR_MS } from '../domain/numbers/units.ts';
import { rounded } from './figures.ts';

const roundedOrNull = (value: Rational | null, decimals: number): number | null =>
  value === null ? null : rounded(value, decimals);
const hours = (ms: number): number => rounded(rational(ms, HOUR_MS), 1);
const charted = (thousandths: number | null): number | null =>
  thousandths === null ? null : thousandths / 1000;

/** An entry that stands behind a value. */
const seen = ({ item }: Row) => ({ entry: item.id, effective_at: item.content.effective_at });
const timeOf = ({ row }: LeakReading): string => row.item.content.effective_at;

export function airLeakView({ newest, grade, flow, leak_free, leak_days }: AirLeak) {
  return {
    newest: newest === null ? null : leakReadingView(newest),
    grade_trend: trendView('grade', grade),
    flow_trend: trendView('flow', flow),
    leak_free: leakFreeView(leak_free),
    leak_days: leakDaysView(leak_days),
  };
}

function leakReadingView(reading: LeakReading) {
  const { row, grade, scaleMax, flow, phase, suction, leak } = reading;
  return {
    ...seen(row),
    leak,
    grade: charted(grade),
    leak_scale_max: charted(scaleMax),
    flow_ml_min: charted(flow),
    phase,
    suction,
  };
}

function trendView(quantity: LeakQuantity, found: LeakTrend) {
  const { trend, reason, from, newest, like, hours: worst, unlike, test } = found;
  const name = quantity === 'grade' ? 'grade' : 'flow_ml_min';
  return {
    trend,
    reason,
    from: from === null ? null : new Date(from).toISOString(),
    to: newest === null ? null : timeOf(newest),
    compared:
      like === null
        ? null
        : { leak_scale_max: charted(like.scaleMax), suction: like.suction, phase: like.phase },
    worst_of_hours: worst.map((hour) => ({
      from: new Date(hour.from).toISOString(),
      [name]: hour.value / 1000,
    })),
    not_compared: unlike,
    s: test?.s ?? null,
    p: test === null ? null : Number(test.p.toPrecision(4)),
  };
}

function leakFreeView(free: LeakFree) {
  if (free.value_ms === null)
    return { value_h: null, reason: free.reason, from: null, to: null, starts_after: null };
  const { value_ms, from, to, starts_after, not_counted_ms, not_counted } = free;
  return {
    value_h: hours(value_ms),
    reason: null,
    from: timeOf(from),
    to: timeOf(to),
    starts_after,
    not_counted_h: hours(not_counted_ms),
    not_counted,
  };
}

function leakDaysView(days: LeakDays) {
  if (days.value_ms === null)
    return { value_d: null, reason: days.reason, origin: null, from: null, to: null };
  return {
    value_d: rounded(rational(days.value_ms, 24 * HOUR_MS), 1),
    reason: null,
    origin: days.origin,
    from: days.from_text,
    to: timeOf(days.last_leak),
    last_leak: seen(days.last_leak.row),
  };
}

export function chamberView({ capacity, level, fill, three_quarters_full, time_to_full }: ChamberFill) {
  return {
    capacity_ml: capacity / 1000,
    level_ml: level.level / 1000,
    level_at: level.at_text,
    fill_fraction: rounded(fill, 3),
    three_quarters_full,
    time_to_full: timeToFullView(time_to_full),
  };
}

function timeToFullView(time: TimeToFull) {
  const bounds = { low_h: roundedOrNull(time.low, 1), high_h: roundedOrNull(time.high, 1) };
  if (time.value === null) return { value_h: null, ...bounds, reason: time.reason };
  const { numerator, denominator } = time.rate;
  return {
    value_h: rounded(time.value, 1),
    ...bounds,
    reason: null,
    drained_rate_ml_h: rounded({ numerator, denominator: denominator * 1000n }, 1),
    rate_from: time.window.from_text,
    rate_to: time.window.to_text,
  };
}

export function setUpCheckView(check: SetUpCheck) {
  return {
    unit: seen(check.attached_by),
    seal_filled: checkedView(check.seal_filled),
    suction_proven: checkedView(check.suction_proven),
    connections_checked: checkedView(check.connections_checked),
  };
}

const checkedView = ({ status, row }: CheckedItem) => ({ status, shown_by: row === null ? null : seen(row) });

export function patencyView({ swing, swing_lost, reason, newest_present, newest_absent }: Patency) {
  return {
    swing,
    swing_lost,
    reason,
    newest_present: swingView(newest_present),
    newest_absent: swingView(newest_absent),
  };
}

const swingView = (swing: SwingSeen | null) =>
  swing === null ? null : { ...seen(swing.row), suction: swing.suction };
