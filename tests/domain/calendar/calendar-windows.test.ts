/** What a drain gave in given stretches of time. */
import { describe, expect, it } from 'vitest';
import {
  calendarWindow,
  closedUntil,
  newestLevelAt,
  windowRate,
} from '../../../src/domain/calendar/calendar-windows.ts';
import { stateOf } from '../../../src/domain/fold/chart.ts';
import type { Span } from '../../../src/domain/fold/interval.ts';
import { approximately } from '../../../src/domain/numbers/rational.ts';
import { epochMs, HOUR_MS } from '../../../src/domain/numbers/units.ts';
import type { Calendar } from '../../../src/domain/vocabulary/configuration.ts';
import { DEFAULT_SETTINGS } from '../../../src/domain/vocabulary/settings.ts';
import { windowsOver } from '../../../src/record/calendar.ts';
import {
  at,
  bookOf,
  changed,
  clamped,
  instilled,
  level,
  placed,
  rebased,
  sampled,
  says,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';

const span = (from: string, to: string): Span => ({
  from: epochMs(Date.parse(at(from))),
  to: epochMs(Date.parse(at(to))),
});

const windowOf = (story: readonly Told[], from: string, to: string) => {
  const book = bookOf(story);
  return calendarWindow(stateOf(book.chart), book.view, span(from, to), DEFAULT_SETTINGS);
};

/** mL, with what shows how sure they are. */
function shown(story: readonly Told[], from: string, to: string) {
  const window = windowOf(story, from, to);
  if (window === null) return null;
  const { sum, covered_ms, in_place_ms, uncovered, preliminary } = window;
  return {
    net: sum === null ? null : approximately(sum.net) / 1000,
    low: sum === null ? null : sum.net_low / 1000,
    high: sum?.net_high == null ? null : sum.net_high / 1000,
    covered_h: covered_ms / HOUR_MS,
    in_place_h: in_place_ms / HOUR_MS,
    uncovered,
    preliminary,
  };
}

describe('a day boundary between two readings', () => {
  // 06:40 1200 mL, 07:20 1280 mL, day from 07:00: 40 mL to each day (common practice, no source; arithmetic ours).
  const story = [placed('06:00'), setUp('06:00', 1180), level('a', '06:40', 1200), level('b', '07:20', 1280)];
  it('splits what drained between them, with bounds', () => {
    expect(windowOf(story, '06:40', '07:00')?.sum).toMatchObject({ interpolated: true });
    expect(shown(story, '06:40', '07:00')).toMatchObject({ net: 40, low: 0, high: 80, preliminary: false });
    expect(shown(story, '07:00', '07:20')).toMatchObject({ net: 40, low: 0, high: 80, preliminary: false });
  });
});

describe('a fluid-balance day of 10 mL/h steadily, from 07:00 in Berlin', () => {
  // Moments: IANA time zone database; arithmetic ours.
  const berlin: Calendar = { zone: 'Europe/Berlin', dayStart: 420, shiftStarts: [420] };
  it.each([
    ['2026-03-29', '2026-03-28T06:00:00Z', 23, 230],
    ['2026-10-25', '2026-10-24T05:00:00Z', 25, 250],
    ['2026-10-26', '2026-10-25T06:00:00Z', 24, 240],
  ])('that ends on %s', (_date, start, hours, ml) => {
    const from = Date.parse(start);
    const time = (hour: number) => new Date(from + hour * HOUR_MS).toISOString();
    const story = [
      placed(time(-2)),
      setUp(time(-2), 0),
      ...Array.from({ length: 30 }, (_, hour) => level(`r${hour}`, time(hour - 1), 10 * (hour + 1))),
    ];
    const [day] = windowsOver(berlin, 'day', { from: epochMs(from), to: epochMs(from + 1) }, 2);
    expect(day).toEqual({ from, to: from + hours * HOUR_MS });
    expect(shown(story, time(0), time(hours))).toMatchObject({ net: ml, covered_h: hours, uncovered: [] });
  });
});

describe('a window', () => {
  const story = [
    placed('08:10'),
    setUp('08:30', 0),
    level('a', '09:00', 60),
    level('b', '10:00', 90),
    sampled('s', '10:00', 7),
    level('c', '10:30', 100),
  ];
  it('covers the time from the first level, of the time in place', () => {
    expect(shown(story, '08:00', '09:00')).toEqual({
      ...{ net: 60, low: 60, high: null, covered_h: 0.5, in_place_h: 50 / 60 },
      ...{ uncovered: ['before-first-level'], preliminary: false },
    });
  });
  it('is covered whole where the drain came in with its first level', () => {
    const [, ...rest] = story;
    const whole = { net: 60, high: 60, covered_h: 0.5, in_place_h: 0.5, uncovered: [], preliminary: false };
    expect(shown([placed('08:30'), ...rest], '08:00', '09:00')).toMatchObject(whole);
  });
  it('holds a sample at its start, not one at its end', () => {
    expect(shown(story, '09:00', '10:00')).toMatchObject({ net: 30 });
    expect(shown(story, '10:00', '11:00')).toMatchObject({ net: 17 });
  });
  it('is preliminary until a level at or after its end', () => {
    const last = { net: 17, high: null, covered_h: 0.5, uncovered: ['after-last-level'], preliminary: true };
    expect(shown(story, '10:00', '11:00')).toMatchObject(last);
    const at11 = level('d', '11:00', 105);
    expect(shown([...story, at11], '10:00', '11:00')).toMatchObject({ preliminary: false, uncovered: [] });
    const before = level('d', '10:59:59', 105);
    expect(shown([...story, before], '10:00', '11:00')).toMatchObject({ preliminary: true });
    const uncounted = { ...at11, recorded: '10:50' };
    expect(shown([...story, uncounted], '10:00', '11:00')).toMatchObject({ preliminary: true });
  });
  it('of which nothing is known has no sum', () => {
    const none = {
      net: null,
      covered_h: 0,
      in_place_h: 1,
      uncovered: ['after-last-level'],
      preliminary: true,
    };
    expect(shown(story, '12:00', '13:00')).toMatchObject(none);
    expect(shown([placed('08:10')], '09:00', '10:00')).toMatchObject({ net: null, uncovered: ['no-level'] });
  });
  it('with nothing known but what was sampled is at least that', () => {
    expect(shown([...story, sampled('t', '12:30', 4)], '12:00', '13:00')).toMatchObject({
      ...{ net: 4, low: 4, high: null, covered_h: 0 },
    });
  });
  it('before the placement, or after the removal, is none of the drain', () => {
    expect(shown(story, '07:00', '08:00')).toBeNull();
    expect(shown(story, '07:10', '08:10')).toBeNull();
    const out = [...story, says('out', '10:30', 'removed', {})];
    expect(shown(out, '10:30', '11:00')).toBeNull();
    expect(shown(out, '11:00', '12:00')).toBeNull();
    expect(shown([story[1] as Told], '08:00', '09:00')).toBeNull();
  });
  it('ends for the drain with its removal: no later level is awaited, no later time is missing', () => {
    const out = [...story, sampled('t', '10:30', 3), says('out', '10:30', 'removed', {})];
    expect(shown(out, '10:00', '11:00')).toEqual({
      ...{ net: 20, low: 20, high: 20, covered_h: 0.5, in_place_h: 0.5, uncovered: [], preliminary: false },
    });
    const flushed = [...out, instilled('f', '10:10', 10)];
    expect(shown(flushed, '10:00', '11:00')).toMatchObject({ net: 10, low: 10, high: 10 });
    const unread = [...story, says('out', '10:45', 'removed', {})];
    expect(shown(unread, '10:00', '11:00')).toMatchObject({
      ...{ net: 17, high: null, in_place_h: 0.75, uncovered: ['after-last-level'], preliminary: false },
    });
    const atEdge = [...story, sampled('t', '11:00', 3), says('out', '11:00', 'removed', {})];
    expect(shown(atEdge, '11:00', '12:00')).toMatchObject({ net: 3, high: 3, in_place_h: 0 });
  });
  it('says why it is not covered', () => {
    const odd = [
      ...[placed('08:00'), setUp('08:00', 0), level('a', '09:00', 60), level('long', '11:30', 90)],
      ...[changed('u', '12:00', null, 0), level('new', '12:30', 20), rebased('r', '13:00', null, 10)],
      ...[level('x', '13:30', 200), level('fall', '14:00', 30), changed('v', '14:30', 30, null)],
      level('end', '15:00', 5),
    ];
    const why = (from: string, to: string) => windowOf(odd, from, to)?.uncovered;
    expect(why('08:00', '09:00')).toEqual([]);
    expect(why('09:00', '11:30')).toEqual([]);
    expect(why('09:00', '10:00')).toEqual(['gap-too-long']);
    expect(why('11:30', '12:30')).toEqual(['no-closing-level']);
    expect(why('12:30', '13:30')).toEqual(['level-rebased', 'suspect-rise']);
    expect(why('13:30', '14:00')).toEqual(['unexplained-fall']);
    expect(why('14:30', '15:00')).toEqual(['opening-not-stated']);
    expect(why('08:00', '15:00')).toHaveLength(5);
  });
  it('spreads over unclamped time', () => {
    const clampedHour = [
      ...[placed(), setUp('08:00', 0), clamped('c', '08:30'), unclamped('u', '09:30')],
      level('a', '10:00', 100),
    ];
    expect(shown(clampedHour, '08:00', '09:00')).toMatchObject({ net: 50, covered_h: 1 });
  });
});

describe('the rate of a window', () => {
  const story = [placed('08:30'), setUp('08:30', 0), level('a', '09:00', 60), level('b', '10:00', 90)];
  const rate = (from: string, to: string, drains = 1) => {
    const window = windowOf([...story, level('c', '13:00', 90)], from, to);
    if (window === null) throw new Error('no window');
    const found = windowRate(window, drains, DEFAULT_SETTINGS);
    return found.value === null ? found.reason : approximately(found.value);
  };
  it('is net over elapsed hours, or says why there is none', () => {
    expect(rate('09:00', '10:00')).toBe(30);
    expect(rate('09:00', '09:30')).toBe(30);
    expect(rate('08:00', '09:00')).toBe('not-in-place-throughout');
    expect(rate('10:30', '11:30')).toBe('not-covered');
    expect(rate('09:00', '09:14')).toBe('window-too-short');
    expect(rate('09:00', '10:00', 2)).toBe('not-in-place-throughout');
  });
  it('has the uncertainty of the sum over the same time', () => {
    const window = windowOf(story, '09:00', '10:00');
    if (window === null) throw new Error('no window');
    // Two levels read to 5 mL, k = 2: 4.082 mL (JCGM 100:2008, 4.3.7), over one hour.
    expect(windowRate(window, 1, DEFAULT_SETTINGS)).toMatchObject({ uncertainty: expect.closeTo(4.082, 3) });
  });
});

describe('the newest level that counts', () => {
  const newest = (story: readonly Told[]) => newestLevelAt(stateOf(bookOf(story).chart));
  const time = (text: string) => Date.parse(at(text));
  it('is an opening, a read or a closing level', () => {
    const story = [placed(), setUp('08:00', 0)];
    expect(newest([placed()])).toBeNull();
    expect(newest(story)).toBe(time('08:00'));
    expect(newest([...story, level('a', '09:00', 5)])).toBe(time('09:00'));
    expect(newest([...story, changed('u', '09:30', 20, null)])).toBe(time('09:30'));
    const notOpened = [placed(), level('a', '09:00', 5), changed('u', '09:30', null, null)];
    expect(newest(notOpened)).toBe(time('09:00'));
    expect(newest([...story, changed('u', '09:30', null, 0)])).toBe(time('09:30'));
  });
  it('is awaited no more once the drain is out', () => {
    const { chart, view } = bookOf([placed(), setUp('08:00', 0), says('out', '09:00', 'removed', {})]);
    expect(closedUntil(stateOf(chart), view)).toBe(Infinity);
  });
});
