/** Sums over recent time from what is kept of a chart are those of the whole chart, to the digit. */
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import { A_DAY, type DrainSums, type Reach, sumsOf, WEEKS } from '../../../src/domain/book/drain-sums.ts';
import { readSums, writeSums } from '../../../src/domain/book/sums-text.ts';
import { calendarWindow } from '../../../src/domain/calendar/calendar-windows.ts';
import { epochMs, HOUR_MS, MINUTE_MS } from '../../../src/domain/numbers/units.ts';
import { DEFAULT_SETTINGS } from '../../../src/domain/vocabulary/settings.ts';
import {
  bookOf,
  changed,
  clamped,
  instilled,
  level,
  placed,
  sampled,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';
import { arrivalOf, ledger, minute } from '../../support/ledgers.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

const DAY_MIN = 24 * 60;
const EVERY_MIN = 25;

/** Minutes after 08:00 of the day on which a story begins, two days before included. */
const moment = (after: number): string => new Date(Date.parse(minute(0)) + after * MINUTE_MS).toISOString();

/** Two days of readings before what a story says, so that not all of it is kept. */
const TWO_DAYS: readonly Told[] = Array.from({ length: (2 * DAY_MIN) / EVERY_MIN }, (_, n) =>
  level(`early-${n}`, moment(n * EVERY_MIN - 2 * DAY_MIN), n * 5),
);
const EARLIER: readonly Told[] = [
  placed(moment(-2 * DAY_MIN), { patient: { reference: 'Patient/1' } }),
  setUp(moment(-2 * DAY_MIN), 0),
  ...TWO_DAYS,
];

const keptOf = (whole: DrainSums, reach = A_DAY): DrainSums =>
  readSums(whole.drain, writeSums(whole, reach), DEFAULT_SETTINGS);

/** Quarters, hours and half days that begin where the kept sums do or later, and one that ends after all. */
function spansIn({ since, newest }: DrainSums, first: number) {
  const from = since === -Infinity ? first : since;
  const to = (newest ?? from) + HOUR_MS;
  return [15 * MINUTE_MS, HOUR_MS, 12 * HOUR_MS].flatMap((length) => {
    const spans = [{ from: epochMs(from), to: epochMs(from + length) }];
    for (let at = Math.ceil(from / length) * length; at < to; at += length)
      spans.push({ from: epochMs(at), to: epochMs(at + length) });
    return spans;
  });
}

const expectSame = (whole: DrainSums, kept: DrainSums): void => {
  const first = Date.parse(moment(-2 * DAY_MIN));
  expect(kept).toMatchObject({
    drain: whole.drain,
    newest: whole.newest,
    circumstances: whole.circumstances,
  });
  for (const span of spansIn(kept, first))
    expect(calendarWindow(kept.state, kept.view, span, DEFAULT_SETTINGS)).toEqual(
      calendarWindow(whole.state, whole.view, span, DEFAULT_SETTINGS),
    );
};

describe('what is kept of the sums of a drain', () => {
  it('gives every window that it reaches as the whole chart does, whatever was charted', () => {
    let told = 0;
    let cut = 0;
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        for (const drain of ['d1', 'd2']) {
          const whole = sumsOf(bookOf(story, drain));
          expectSame(whole, keptOf(whole));
        }
        const late = story.filter(({ key, drain }) => drain === 'd1' && !key.startsWith('placed'));
        const whole = sumsOf(bookOf([...EARLIER, ...late]));
        const kept = keptOf(whole);
        expectSame(whole, kept);
        told += 1;
        if (kept.since > -Infinity) cut += 1;
      }),
      { numRuns: 80 },
    );
    expect(cut).toBeGreaterThan(told / 2);
  });

  it('does so however far back it reaches, and whichever number of intervals it holds', () => {
    const anyReach: fc.Arbitrary<Reach> = fc.record({
      ms: fc.integer({ min: 0, max: 60 }).map((hours) => hours * HOUR_MS),
      most: fc.integer({ min: 1, max: 150 }),
    });
    let told = 0;
    let cut = 0;
    fc.assert(
      fc.property(ledger.chain(arrivalOf), anyReach, (story, reach) => {
        const late = story.filter(({ key, drain }) => drain === 'd1' && !key.startsWith('placed'));
        const whole = sumsOf(bookOf([...EARLIER, ...late]));
        const kept = keptOf(whole, reach);
        expectSame(whole, kept);
        told += 1;
        if (kept.since > -Infinity) cut += 1;
      }),
      { numRuns: 60 },
    );
    expect(cut).toBeGreaterThan(told / 3);
  });

  it('of weeks is all of two days', () => {
    expect(keptOf(sumsOf(bookOf(EARLIER)), WEEKS).since).toBe(-Infinity);
  });

  it('reaches back a day and the hour it begins in, and no further than it must', () => {
    const { since, newest } = keptOf(sumsOf(bookOf(EARLIER)));
    expect((newest ?? 0) - since).toBeGreaterThanOrEqual(25 * HOUR_MS);
    expect((newest ?? 0) - since).toBeLessThan(27 * HOUR_MS);
  });

  it('is all of it where that is less', () => {
    expect(keptOf(sumsOf(bookOf(EARLIER.slice(0, 40)))).since).toBe(-Infinity);
    expect(keptOf(sumsOf(bookOf([placed()]))).since).toBe(-Infinity);
  });

  it('says of a unit whose graduations are not known that the error is not known', () => {
    const unmarked = [placed(), level('a', '08:00', 0), level('b', '09:00', 40), level('c', '10:00', 90)];
    const { state, view } = keptOf(sumsOf(bookOf(unmarked)));
    const hour = { from: epochMs(Date.parse(minute(60))), to: epochMs(Date.parse(minute(120))) };
    expect(calendarWindow(state, view, hour, DEFAULT_SETTINGS)?.sum).toMatchObject({
      net_low: 50_000,
      uncertainty: null,
    });
  });
});

describe('the text of the sums', () => {
  const HOURLY: readonly Told[] = [
    placed(),
    setUp('08:00', 0),
    level('a', '09:00', 10),
    level('b', '10:00', 30),
    level('c', '11:00', 60),
    level('d', '12:00', 100),
  ];
  const hours = (ms: number, most = 100): Reach => ({ ms: ms * HOUR_MS, most });
  const textOf = (story: readonly Told[], reach: Reach) =>
    JSON.parse(writeSums(sumsOf(bookOf(story)), reach)) as {
      levels: [id: string, part: string][];
      intervals: unknown[][];
      flows: { id: string }[];
    };
  const newestOf = ({ state }: DrainSums) => state.intervals?.item.interval;
  const from = (time: string) => Date.parse(`2026-03-01T${time}Z`);

  it.each<[string, Reach, readonly string[], number]>([
    // Two hours before 12:00 an interval begins; the one before that is kept too, so that a cut in it is known.
    ['from the last that begins before its reach', hours(2), ['b', 'c', 'd'], from('09:00:00.001')],
    ['from the one that its reach cuts', hours(1.5), ['c', 'd'], from('10:00:00.001')],
    ['no more of them than it may', hours(2, 2), ['c', 'd'], from('10:00:00.001')],
    ['one at least', hours(0, 1), ['d'], from('11:00:00.001')],
    ['all of them', hours(4), ['a', 'b', 'c', 'd'], -Infinity],
  ])('holds intervals, %s', (_, reach, ends, since) => {
    const { levels, intervals } = textOf(HOURLY, reach);
    expect(intervals.map(([, to]) => levels[to as number]?.[0])).toEqual(ends);
    expect(keptOf(sumsOf(bookOf(HOURLY)), reach).since).toBe(since);
  });

  it('writes each level once, and of an interval that is only measured no more than three members', () => {
    const { levels, intervals } = textOf(HOURLY, hours(4));
    expect(levels.map(([id]) => id)).toEqual(['set-up', 'a', 'b', 'c', 'd']);
    expect(intervals).toEqual([
      [0, 1, 10_000],
      [1, 2, 20_000],
      [2, 3, 30_000],
      [3, 4, 40_000],
    ]);
  });

  it('keeps what went in and out from the last before it on', () => {
    const story = [
      ...HOURLY,
      instilled('i1', '08:10', 10),
      sampled('s1', '08:20', 5),
      instilled('i2', '10:30', 20),
      sampled('s2', '11:30', 5),
    ];
    const kept = (reach: Reach) => textOf(story, reach).flows.map(({ id }) => id);
    expect(kept(hours(4))).toEqual(['i1', 's1', 'i2', 's2']);
    expect(kept(hours(1.5))).toEqual(['s1', 'i2', 's2']);
    expect(kept(hours(0, 1))).toEqual(['i2', 's2']);
  });

  it('counts what went in at the very moment from which it is whole', () => {
    const story = [...HOURLY, instilled('i1', '08:10', 10), instilled('i2', '11:00:00.001', 20)];
    const kept = keptOf(sumsOf(bookOf(story)), hours(0, 1));
    const rest = { from: kept.since, to: epochMs(from('12:00')) };
    expect(calendarWindow(kept.state, kept.view, rest, DEFAULT_SETTINGS)?.sum?.instilled).toBe(20_000);
  });

  const noClosing = [...HOURLY, changed('u', '12:30', null, 0)];
  const fall = [...HOURLY, level('e', '13:00', 20)];
  it.each<[string, readonly Told[]]>([
    ['with nothing else in it', HOURLY],
    ['with something put in', [...HOURLY, instilled('i', '11:30', 20)]],
    ['with something drawn off', [...HOURLY, sampled('s', '11:30', 5)]],
    ['with as much put in as drawn off', [...HOURLY, instilled('i', '11:20', 5), sampled('s', '11:30', 5)]],
    ['with the tube clamped for a while', [...HOURLY, clamped('k', '11:20'), unclamped('l', '11:30')]],
    ['that rises from an opening level', [...HOURLY, changed('u', '12:00', 100, 5), level('e', '13:00', 15)]],
    ['that is a lower bound', [...noClosing, level('e', '13:00', 15)]],
    ['that is a fall nothing explains', fall],
    ['whose rise is in doubt', [...fall, level('f', '14:00', 100)]],
  ])('gives back the interval %s', (_, story) => {
    const whole = sumsOf(bookOf(story));
    expect(newestOf(whole)).toBeDefined();
    expect(newestOf(keptOf(whole))).toEqual(newestOf(whole));
    for (const most of [1, 2, 3]) expectSame(whole, keptOf(whole, hours(24, most)));
  });

  it.each<[string, readonly Told[]]>([
    // Where nothing is summed yet there is no level that a sum has come to.
    ['a fall that nothing explains', [placed(), setUp('08:00', 100), level('a', '09:00', 20)]],
    [
      'one whose unit has no graduations that are known',
      [placed(), level('z', '08:00', 0), level('a', '09:00', 20)],
    ],
  ])('goes on from a first interval that is %s', (_, story) => {
    const whole = sumsOf(bookOf([...story, level('b', '10:00', 50), level('c', '11:00', 70)]));
    for (const most of [1, 2, 3]) expectSame(whole, keptOf(whole, hours(24, most)));
  });

  it('of a drain that is placed and not read holds nothing', () => {
    const { levels, intervals, flows } = textOf([placed()], A_DAY);
    expect([levels, intervals, flows]).toEqual([[], [], []]);
  });
});
