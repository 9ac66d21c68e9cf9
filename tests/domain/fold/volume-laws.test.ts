import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import { netOf } from '../../../src/domain/fold/interval.ts';
import type { Row, Volumes } from '../../../src/domain/fold/row.ts';
import type { Window } from '../../../src/domain/fold/windows.ts';
import { add, type Rational, rational } from '../../../src/domain/numbers/rational.ts';
import { HOUR_MS } from '../../../src/domain/numbers/units.ts';
import {
  instilled,
  level,
  placed,
  rowsIn,
  rowsOf,
  setUp,
  type Told,
  tell,
} from '../../support/drain-script.ts';
import { arrivalOf, ledger, minute } from '../../support/ledgers.ts';
import { measuredDrain } from '../../support/measured-drains.ts';
import { ROWS_ONLY } from '../../support/policy.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

const equal = (a: Rational, b: Rational) => a.numerator * b.denominator === b.numerator * a.denominator;
const volumesOf = (rows: readonly Row[]): Volumes[] => rows.flatMap(({ volumes }) => volumes ?? []);
const isComplete = ({ covered_ms, hours }: Window) => covered_ms === hours * HOUR_MS;
const windowsByEnd = (rows: readonly Row[]) =>
  new Map<string, Window>(
    volumesOf(rows).flatMap(({ windows }) => windows.map((w) => [`${w.hours} ${w.to}`, w] as const)),
  );

describe('the cumulative sum', () => {
  it('is the sum of the nets of the intervals so far when all are measured', () => {
    fc.assert(
      fc.property(measuredDrain(240), ({ story }) => {
        let sum = 0;
        for (const { interval, cumulative } of volumesOf(rowsOf(story))) {
          expect(interval.status).toBe('measured');
          sum += netOf(interval) ?? Number.NaN;
          expect(cumulative).toMatchObject({ net: sum, suspect: 0, reasons: [] });
        }
      }),
      { numRuns: 300 },
    );
  });

  it('leaves out indeterminate and suspect intervals of any ledger, shows the suspect, and then has a reason', () => {
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        const { subject } = tell(story, new Map(), ROWS_ONLY);
        for (const drain of ['d1', 'd2']) {
          const sums = { net: 0, suspect: 0 };
          for (const { interval, cumulative } of volumesOf(rowsIn(subject, drain))) {
            if (interval.suspect) sums.suspect += interval.drained ?? 0;
            else sums.net += netOf(interval) ?? 0;
            expect(cumulative).toMatchObject(sums);
            const whole = interval.status === 'measured' && !interval.suspect;
            if (!whole) expect(cumulative.reasons).not.toEqual([]);
          }
        }
      }),
      { numRuns: 300 },
    );
  });
});

describe('intervals', () => {
  it('follow one another without gap or overlap, in any ledger', () => {
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        const { subject } = tell(story, new Map(), ROWS_ONLY);
        for (const drain of ['d1', 'd2']) {
          const intervals = volumesOf(rowsIn(subject, drain)).map(({ interval }) => interval);
          for (const [n, { from, to, clamped }] of intervals.entries()) {
            expect(from.at).toBeLessThan(to.at);
            if (n > 0) expect(from.at).toBe(intervals[n - 1]?.to.at);
            for (const span of clamped) {
              expect(span.from).toBeGreaterThanOrEqual(from.at);
              expect(span.from).toBeLessThan(span.to);
              expect(span.to).toBeLessThanOrEqual(to.at);
            }
          }
        }
      }),
      { numRuns: 300 },
    );
  });
});

describe('windows', () => {
  it('tile: the 8 h are the last 4 h and the 4 h before them, wherever a level stands between', () => {
    let interpolated = 0;
    const drains = measuredDrain(120).filter(({ readingMinutes }) => (readingMinutes.at(-1) ?? 0) >= 480);
    fc.assert(
      fc.property(drains, fc.nat(), ({ story, readingMinutes }, pick) => {
        const middles = readingMinutes.filter((m) => m >= 240 && m + 240 <= (readingMinutes.at(-1) ?? 0));
        const middle = middles[pick % middles.length];
        fc.pre(middle !== undefined);
        const end = minute((middle ?? 0) + 240);
        const told = [...story.filter(({ time }) => time < end), level('end', end, 1900)];
        const windows = windowsByEnd(rowsOf(told));
        const find = (hours: number, time: string) => windows.get(`${hours} ${Date.parse(time)}`);
        const eight = find(8, end);
        const later = find(4, end);
        const earlier = find(4, minute(middle ?? 0));
        if (eight === undefined || later === undefined || earlier === undefined) throw new Error('no window');
        expect(isComplete(eight)).toBe(true);
        expect(equal(eight.net, add(later.net, earlier.net))).toBe(true);
        expect(equal(eight.drained, add(later.drained, earlier.drained))).toBe(true);
        expect(eight.sampled).toBe(later.sampled + earlier.sampled);
        expect(eight.instilled).toBe(later.instilled + earlier.instilled);
        if (eight.interpolated) interpolated += 1;
      }),
      { numRuns: 300 },
    );
    expect(interpolated).toBeGreaterThan(0);
  });

  it('hold what the intervals in them hold when their edge meets a level', () => {
    let compared = 0;
    fc.assert(
      fc.property(measuredDrain(240), ({ story }) => {
        const rows = volumesOf(rowsOf(story));
        for (const { windows } of rows) {
          for (const window of windows.filter((w) => isComplete(w) && !w.interpolated)) {
            const inside = rows.filter(({ interval: { to } }) => to.at > window.from && to.at <= window.to);
            const net = inside.reduce((sum, { interval }) => sum + (netOf(interval) ?? Number.NaN), 0);
            expect(equal(window.net, rational(net))).toBe(true);
            compared += 1;
          }
        }
      }),
      { numRuns: 300 },
    );
    expect(compared).toBeGreaterThan(0);
  });

  it('lie within their bounds', () => {
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        for (const { windows } of volumesOf(rowsIn(tell(story, new Map(), ROWS_ONLY).subject))) {
          for (const { net, net_low, net_high, covered_ms, hours } of windows) {
            expect(net.numerator).toBeGreaterThanOrEqual(BigInt(net_low) * net.denominator);
            if (net_high !== null) {
              expect(net.numerator).toBeLessThanOrEqual(BigInt(net_high) * net.denominator);
            }
            expect(net_high === null).toBe(covered_ms !== hours * HOUR_MS);
            expect(covered_ms).toBeLessThanOrEqual(hours * HOUR_MS);
          }
        }
      }),
      { numRuns: 300 },
    );
  });

  it('do not change when a reading is put in exactly on the line between two others', () => {
    const steps = fc.array(
      fc.record({ half: fc.integer({ min: 1, max: 60 }), rise: fc.integer({ min: 0, max: 40 }) }),
      {
        minLength: 2,
        maxLength: 10,
      },
    );
    fc.assert(
      fc.property(steps, fc.nat(), (steps, pick) => {
        let [now, ml] = [0, 0];
        const story: Told[] = [placed(), setUp('08:00', 0)];
        let extra: Told | undefined;
        for (const [n, { half, rise }] of steps.entries()) {
          if (n === pick % steps.length) extra = level('extra', minute(now + half), ml + rise / 2);
          [now, ml] = [now + 2 * half, ml + rise];
          story.push(level(`reading-${n}`, minute(now), ml));
        }
        const without = windowsByEnd(rowsOf(story));
        const withExtra = windowsByEnd(rowsOf(extra === undefined ? [] : [...story, extra]));
        for (const [key, window] of without) {
          const same = withExtra.get(key);
          expect(same !== undefined && equal(same.net, window.net), key).toBe(true);
          expect(same?.covered_ms).toBe(window.covered_ms);
        }
      }),
      { numRuns: 300 },
    );
  });
});

/** A row's figures without the moments they stand at. */
const figures = ({ marks, volumes, negativity }: Row) => ({
  marks,
  negativity,
  volumes: volumes && {
    status: volumes.interval.status,
    suspect: volumes.interval.suspect,
    parts: [volumes.interval.drained, volumes.interval.sampled, volumes.interval.instilled],
    rate: volumes.rate.value,
    perKg: volumes.rate.value === null ? null : volumes.rate.per_kg.value,
    cumulative: [volumes.cumulative.net, volumes.cumulative.suspect, volumes.cumulative.reasons],
    windows: volumes.windows.map(({ hours, net, net_low, net_high, covered_ms }) => [
      hours,
      net,
      net_low,
      net_high,
      covered_ms,
    ]),
  },
});

describe('time', () => {
  it('may be shifted by whole minutes: everything moves and no figure changes', () => {
    const shifted = (time: string, by: number) =>
      new Date(Date.parse(time) + by * 60_000).toISOString().replace('.000Z', 'Z');
    const moved = (told: Told, by: number): Told => ({
      ...told,
      time: shifted(told.time, by),
      ...(told.recorded === undefined ? {} : { recorded: shifted(told.recorded, by) }),
      ...('to' in told ? { to: shifted(told.to, by) } : {}),
    });
    fc.assert(
      fc.property(ledger.chain(arrivalOf), fc.integer({ min: -10_000, max: 10_000 }), (story, by) => {
        const here = tell(story, new Map(), ROWS_ONLY).subject;
        const there = tell(
          story.map((told) => moved(told, by)),
          new Map(),
          ROWS_ONLY,
        ).subject;
        for (const drain of ['d1', 'd2']) {
          const [a, b] = [rowsIn(here, drain), rowsIn(there, drain)];
          expect(b.map(figures)).toEqual(a.map(figures));
          expect(b.map(({ item }) => item.at - by * 60_000)).toEqual(a.map(({ item }) => item.at));
        }
      }),
      { numRuns: 300 },
    );
  });
});

describe('a flush', () => {
  it('that drains back whole leaves every net as it would have been without it', () => {
    fc.assert(
      fc.property(measuredDrain(120), fc.integer({ min: 1, max: 60 }), fc.nat(), ({ story }, ml, pick) => {
        const readings = story.filter((told) => 'says' in told && told.says.kind === 'reading');
        const at = readings[pick % readings.length];
        if (at === undefined) throw new Error('a measured drain has readings');
        const back = level('back', minute(5000), 1900 + ml);
        const before = [...story, level('back', minute(5000), 1900)];
        const flushed = [...story, instilled('flush', at.time, ml), back];
        const nets = (told: readonly Told[]) =>
          volumesOf(rowsOf(told)).map(({ cumulative, interval }) => [cumulative.net, netOf(interval)]);
        expect(nets(flushed).at(-1)?.[0]).toBe(nets(before).at(-1)?.[0]);
        if (at === readings.at(-1)) expect(nets(flushed).at(-1)).toEqual(nets(before).at(-1));
        else expect(nets(flushed)).not.toEqual(nets(before));
      }),
      { numRuns: 300 },
    );
  });
});
