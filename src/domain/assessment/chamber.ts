/**
 * How full the collection chamber in use is, and how long it lasts.
 *
 * fill = level / capacity. Time to full, h = (capacity − level) / gross drained rate of the trailing 4 h, or of the
 * trailing 1 h if that is faster; as of the level, were drainage to go on so. What is instilled takes room
 * only once it has drained, so the gross rate counts, not the net one. Length of the windows: common practice, no
 * source. A unit is changed at three quarters full: Royal Marsden manual of clinical nursing procedures, quoting Woodrow.
 */
import type { ChamberState } from '../fold/drainage.ts';
import type { LevelPoint } from '../fold/interval.ts';
import type { Volumes } from '../fold/row.ts';
import type { Window } from '../fold/windows.ts';
import { type Rational, rational } from '../numbers/rational.ts';
import { HOUR_MS, type Microlitres, microlitres } from '../numbers/units.ts';

const LONG_HOURS = 4;
const SHORT_HOURS = 1;

export type NoTimeReason = 'coverage-incomplete' | 'no-drainage' | 'no-rate-at-level' | 'full';

/** Hours. `low` and `high` count a cut interval of the window whole, or leave it out; null where there is no bound. */
export type TimeToFull = { readonly low: Rational | null; readonly high: Rational | null } & (
  | {
      readonly value: Rational;
      /** Gross, µL/h. */
      readonly rate: Rational;
      /** The window whose rate it is. */
      readonly window: Window;
    }
  | { readonly value: null; readonly reason: NoTimeReason }
);

export interface ChamberFill {
  readonly capacity: Microlitres;
  readonly level: LevelPoint;
  readonly fill: Rational;
  /** Fill >= 0.75, unrounded. */
  readonly three_quarters_full: boolean;
  readonly time_to_full: TimeToFull;
}

/**
 * @param volumes of the newest level that ended an interval
 * @returns null while the unit or the level on its scale is not known
 */
export function chamberFill({ profile, run }: ChamberState, volumes: Volumes | null): ChamberFill | null {
  if (profile === null || run === null) return null;
  const capacity = microlitres(profile.capacity_ml.thousandths);
  const { last: level } = run;
  return {
    capacity,
    level,
    fill: rational(level.level, capacity),
    three_quarters_full: level.level * 4 >= capacity * 3,
    time_to_full: timeToFull(microlitres(capacity - level.level), level, volumes),
  };
}

function timeToFull(room: Microlitres, level: LevelPoint, volumes: Volumes | null): TimeToFull {
  const none = (reason: NoTimeReason): TimeToFull => ({ value: null, low: null, high: null, reason });
  if (room <= 0) return none('full');
  if (volumes === null || volumes.interval.to.at !== level.at) return none('no-rate-at-level');
  // Taken once: each look at the windows of a row works all of them out.
  const { windows } = volumes;
  const long = windows.find(({ hours }) => hours === LONG_HOURS);
  const short = windows.find(({ hours }) => hours === SHORT_HOURS);
  const known = [long, short].filter((window) => window !== undefined);
  if (long === undefined || !isCovered(long) || isFasterAtLeast(short, long)) {
    return { ...none('coverage-incomplete'), high: soonest(known.map(withLeast(room))) };
  }
  const low = soonest(known.map(withMost(room)));
  const high = soonest(known.map(withLeast(room)));
  const window = known.reduce((a, b) => (isFaster(b, a) ? b : a));
  const value = hoursFor(room, window.drained, window.hours);
  if (value === null) return { value: null, low, high, reason: 'no-drainage' };
  const { numerator, denominator } = window.drained;
  const rate = { numerator, denominator: denominator * BigInt(window.hours) };
  return { value, low, high, rate, window };
}

const isCovered = (window: Window): boolean => window.covered_ms === window.hours * HOUR_MS;

const isFaster = (a: Window, b: Window): boolean =>
  a.drained.numerator * b.drained.denominator * BigInt(b.hours) >
  b.drained.numerator * a.drained.denominator * BigInt(a.hours);

/** Whether the short window is not covered whole, yet what it does cover is the faster already. */
const isFasterAtLeast = (short: Window | undefined, long: Window): boolean =>
  short !== undefined && !isCovered(short) && isFaster(short, long);

/** Net = drained + sampled − instilled, and these two are exact: a bound of the one bounds the other. */
const drainedOf = ({ sampled, instilled }: Window, net: Microlitres): Rational =>
  rational(net - sampled + instilled);

const withLeast = (room: Microlitres) => (window: Window) =>
  hoursFor(room, drainedOf(window, window.net_low), window.hours);

const withMost = (room: Microlitres) => (window: Window) =>
  window.net_high === null ? null : hoursFor(room, drainedOf(window, window.net_high), window.hours);

/** room / (drained / hours); null where nothing drained. */
function hoursFor(room: Microlitres, drained: Rational, hours: number): Rational | null {
  if (drained.numerator <= 0n) return null;
  return {
    numerator: BigInt(room) * BigInt(hours) * drained.denominator,
    denominator: drained.numerator,
  };
}

function soonest(times: readonly (Rational | null)[]): Rational | null {
  return times
    .filter((time) => time !== null)
    .reduce<Rational | null>(
      (a, b) => (a === null || b.numerator * a.denominator < a.numerator * b.denominator ? b : a),
      null,
    );
}
