/** Hours, shifts and days in their zone. Expected moments: IANA time zone database (Berlin and London 2026, UTC + 1 h or 0, summer + 1 h). */
import fc from 'fast-check';
import { describe, expect, it, test } from 'vitest';
import { parseInstant } from '../../src/domain/numbers/instant.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../../src/domain/numbers/units.ts';
import type { Calendar } from '../../src/domain/vocabulary/configuration.ts';
import type { CalendarKind } from '../../src/domain/vocabulary/fact.ts';
import {
  CALENDAR_KINDS,
  isZoneName,
  localText,
  timeOfDayText,
  windowsOver,
} from '../../src/record/calendar.ts';

const ms = (text: string): EpochMs => {
  const instant = parseInstant(text);
  if (instant === undefined) throw new Error(text);
  return instant.ms;
};
const inZone = (zone: string, dayStart = 420, shiftStarts: readonly number[] = [420, 1140]): Calendar => ({
  ...{ zone, dayStart, shiftStarts },
});

/** [UTC start, UTC end, elapsed h] of each window. */
const windows = (calendar: Calendar, kind: CalendarKind, from: string, to: string) =>
  windowsOver(calendar, kind, { from: ms(from), to: ms(to) }, 1000).map((window) => [
    new Date(window.from).toISOString().slice(0, 16),
    new Date(window.to).toISOString().slice(0, 16),
    (window.to - window.from) / HOUR_MS,
  ]);
const localStarts = (calendar: Calendar, kind: CalendarKind, from: string, to: string) =>
  windowsOver(calendar, kind, { from: ms(from), to: ms(to) }, 1000).map((window) =>
    localText(calendar, window.from).slice(11),
  );

describe('a fluid-balance day', () => {
  it.each([
    ['Europe/Berlin', '2026-03-29T04:00:00Z', ['2026-03-28T06:00', '2026-03-29T05:00', 23]],
    ['Europe/Berlin', '2026-03-29T05:00:00Z', ['2026-03-29T05:00', '2026-03-30T05:00', 24]],
    ['Europe/Berlin', '2026-10-25T05:00:00Z', ['2026-10-24T05:00', '2026-10-25T06:00', 25]],
    ['Europe/London', '2026-03-29T00:00:00Z', ['2026-03-28T07:00', '2026-03-29T06:00', 23]],
    ['Europe/London', '2026-10-25T00:00:00Z', ['2026-10-24T06:00', '2026-10-25T07:00', 25]],
    ['UTC', '2026-03-29T00:00:00Z', ['2026-03-28T07:00', '2026-03-29T07:00', 24]],
  ])('in %s that holds %s', (zone, at, expected) => {
    const justAfter = new Date(ms(at) + 1).toISOString();
    expect(windows(inZone(zone), 'day', at, justAfter)).toEqual([expected]);
  });

  it('that starts at a local time the clock skips starts at the first moment after the gap', () => {
    // 02:30 does not exist in Berlin on 29 March 2026: 01:00Z is 03:00 there.
    const days = windows(inZone('Europe/Berlin', 150), 'day', '2026-03-28T12:00:00Z', '2026-03-30T12:00:00Z');
    expect(days).toEqual([
      ['2026-03-28T01:30', '2026-03-29T01:00', 23.5],
      ['2026-03-29T01:00', '2026-03-30T00:30', 23.5],
      ['2026-03-30T00:30', '2026-03-31T00:30', 24],
    ]);
    expect(
      localStarts(inZone('Europe/Berlin', 150), 'day', '2026-03-29T12:00:00Z', '2026-03-29T13:00:00Z'),
    ).toEqual(['03:00:00+02:00']);
  });

  it('that starts at a local time the clock shows twice starts at the first of them', () => {
    const days = windows(inZone('Europe/Berlin', 150), 'day', '2026-10-25T12:00:00Z', '2026-10-25T13:00:00Z');
    expect(days).toEqual([['2026-10-25T00:30', '2026-10-26T01:30', 25]]);
  });

  it('lasts over a date that a zone skipped whole', () => {
    // Apia had no 30 December 2011 (IANA: from -10 to +14 at 2011-12-30T10:00Z).
    const days = windows(inZone('Pacific/Apia'), 'day', '2011-12-30T09:00:00Z', '2011-12-30T18:00:00Z');
    expect(days).toEqual([
      ['2011-12-29T17:00', '2011-12-30T10:00', 17],
      ['2011-12-30T10:00', '2011-12-30T17:00', 7],
      ['2011-12-30T17:00', '2011-12-31T17:00', 24],
    ]);
  });
});

describe('shifts', () => {
  it('are cut and stretched by the changes', () => {
    const london = inZone('Europe/London');
    expect(windows(london, 'shift', '2026-03-28T19:00:00Z', '2026-03-29T06:00:01Z')).toEqual([
      ['2026-03-28T19:00', '2026-03-29T06:00', 11],
      ['2026-03-29T06:00', '2026-03-29T18:00', 12],
    ]);
    expect(windows(london, 'shift', '2026-10-24T18:00:00Z', '2026-10-24T19:00:00Z')).toEqual([
      ['2026-10-24T18:00', '2026-10-25T07:00', 13],
    ]);
  });

  it('of which two start in one gap are one', () => {
    const berlin = inZone('Europe/Berlin', 420, [120, 150, 420]);
    expect(windows(berlin, 'shift', '2026-03-29T00:00:00Z', '2026-03-29T05:00:00Z')).toEqual([
      ['2026-03-28T06:00', '2026-03-29T01:00', 19],
      ['2026-03-29T01:00', '2026-03-29T05:00', 4],
    ]);
  });
});

describe('clock hours', () => {
  // 10 March 2013 and 1 November 2026 in New York.
  const newYork = inZone('America/New_York');
  it('in spring: 01:00, then 03:00, none at 02:00', () => {
    expect(localStarts(newYork, 'hour', '2013-03-10T06:00:00Z', '2013-03-10T08:00:00Z')).toEqual([
      '01:00:00-05:00',
      '03:00:00-04:00',
    ]);
  });
  it('in autumn: two of 01:00, an hour apart', () => {
    expect(windows(newYork, 'hour', '2026-11-01T05:30:00Z', '2026-11-01T06:30:00Z')).toEqual([
      ['2026-11-01T05:00', '2026-11-01T06:00', 1],
      ['2026-11-01T06:00', '2026-11-01T07:00', 1],
    ]);
    expect(localStarts(newYork, 'hour', '2026-11-01T05:00:00Z', '2026-11-01T07:00:00Z')).toEqual([
      '01:00:00-04:00',
      '01:00:00-05:00',
    ]);
  });
  it('that a change of half an hour cuts are cut', () => {
    // Lord Howe: 02:00 +11 back to 01:30 +10:30 on 5 April 2026, at 2026-04-04T15:00Z.
    expect(
      windows(inZone('Australia/Lord_Howe'), 'hour', '2026-04-04T14:10:00Z', '2026-04-04T16:00:00Z'),
    ).toEqual([
      ['2026-04-04T14:00', '2026-04-04T15:00', 1],
      ['2026-04-04T15:00', '2026-04-04T15:30', 0.5],
      ['2026-04-04T15:30', '2026-04-04T16:30', 1],
    ]);
  });
  it('are found from a moment after such a change, too', () => {
    const after = windows(
      inZone('Australia/Lord_Howe'),
      'hour',
      '2026-04-04T15:10:00Z',
      '2026-04-04T15:20:00Z',
    );
    expect(after).toEqual([['2026-04-04T15:00', '2026-04-04T15:30', 0.5]]);
  });
  it('that a change within the hour ends are cut there', () => {
    // St. John's: 00:01 -03:30 on to 01:01 -02:30 on 13 March 2011, at 03:31Z.
    expect(
      windows(inZone('America/St_Johns'), 'hour', '2011-03-13T03:30:00Z', '2011-03-13T04:30:00Z'),
    ).toEqual([
      ['2011-03-13T03:30', '2011-03-13T03:31', 1 / 60],
      ['2011-03-13T03:31', '2011-03-13T04:30', 59 / 60],
    ]);
  });
  it('start on the hour of the zone, not of UTC', () => {
    expect(windows(inZone('Asia/Kolkata'), 'hour', '2026-01-01T00:00:00Z', '2026-01-01T00:30:00Z')).toEqual([
      ['2025-12-31T23:30', '2026-01-01T00:30', 1],
    ]);
  });
});

describe('windows of any kind', () => {
  const zone = fc.constantFrom(
    'UTC',
    'Europe/Berlin',
    'Europe/London',
    'America/New_York',
    'America/Santiago',
    'Asia/Kolkata',
    'Australia/Lord_Howe',
    'Pacific/Apia',
  );
  const moment = fc.integer({ min: ms('2010-01-01T00:00:00Z'), max: ms('2030-01-01T00:00:00Z') });
  const start = fc.integer({ min: 0, max: 1439 });

  it('follow one another, and hold what was asked for but no window beside it', () => {
    fc.assert(
      fc.property(
        fc.record({ zone, start, moment, kind: fc.constantFrom(...CALENDAR_KINDS) }),
        fc.integer({ min: 1, max: 40 * HOUR_MS }),
        ({ zone, start, moment, kind }, length) => {
          const over = { from: epochMs(moment), to: epochMs(moment + length) };
          const found = windowsOver(inZone(zone, start, [start]), kind, over, 1000);
          expect(found[0]?.from).toBeLessThanOrEqual(over.from);
          expect(found[0]?.to).toBeGreaterThan(over.from);
          expect(found.at(-1)?.from).toBeLessThan(over.to);
          expect(found.at(-1)?.to).toBeGreaterThanOrEqual(over.to);
          for (const [i, window] of found.entries()) {
            expect(window.from).toBeLessThan(window.to);
            if (i > 0) expect(window.from).toBe(found[i - 1]?.to);
            if (kind === 'hour') expect(window.to - window.from).toBeLessThanOrEqual(HOUR_MS);
            else expect(window.to - window.from).toBeLessThanOrEqual(48 * HOUR_MS);
          }
        },
      ),
      { numRuns: 300 },
    );
  });

  it('are the same from whichever moment of them they are looked for', () => {
    fc.assert(
      fc.property(zone, start, moment, fc.constantFrom(...CALENDAR_KINDS), (zone, start, moment, kind) => {
        const calendar = inZone(zone, start, [start]);
        const at = (time: number) =>
          windowsOver(calendar, kind, { from: epochMs(time), to: epochMs(time + 1) }, 2);
        const [window] = at(moment);
        if (window === undefined) throw new Error('no window');
        expect(at(window.from)).toEqual([window]);
        expect(at(window.to - 1)).toEqual([window]);
      }),
      { numRuns: 300 },
    );
  });

  it('shifts tile days, when the day starts with one', () => {
    const starts = fc
      .uniqueArray(start, { minLength: 1, maxLength: 4 })
      .map((all) => all.sort((a, b) => a - b));
    fc.assert(
      fc.property(zone, starts, fc.nat(), moment, (zone, shiftStarts, pick, moment) => {
        const calendar = inZone(zone, shiftStarts[pick % shiftStarts.length], shiftStarts);
        const over = { from: epochMs(moment), to: epochMs(moment + 72 * HOUR_MS) };
        const edges = new Set(windowsOver(calendar, 'shift', over, 100).map(({ from }) => from));
        for (const { from } of windowsOver(calendar, 'day', over, 100).slice(1))
          expect(edges).toContain(from);
      }),
      { numRuns: 300 },
    );
  });

  it('stop at the most that is wanted', () => {
    const over = { from: ms('1900-01-01T00:00:00Z'), to: ms('2999-01-01T00:00:00Z') };
    for (const kind of CALENDAR_KINDS)
      expect(windowsOver(inZone('Europe/Berlin'), kind, over, 201)).toHaveLength(201);
  });
});

test.each(['UTC', 'Europe/Berlin', 'Asia/Kolkata', 'America/Argentina/Buenos_Aires', 'Etc/GMT+3'])(
  '%s is a zone',
  (zone) => expect(isZoneName(zone)).toBe(true),
);
test.each(['', '+01:00', 'Mars/Olympus', 'Europe/Berlin ', 'local'])("'%s' is none", (zone) =>
  expect(isZoneName(zone)).toBe(false),
);
test('a time of day is written with two digits each', () => expect(timeOfDayText(7 * 60 + 5)).toBe('07:05'));
