/** Wall-clock times of the facility, where clocks change (moments: IANA time zone database). */
import { describe, expect, test } from 'vitest';
import { ageText, clockText, momentsOf, momentText, wallText } from '../../src/web/time.ts';

const iso = (moments: readonly number[]): string[] =>
  moments.map((at) => new Date(at).toISOString().slice(0, 16));

describe('a time on the wall', () => {
  test.each([
    ['in winter', '2026-01-15T08:30', 'Europe/Berlin', ['2026-01-15T07:30']],
    ['in summer', '2026-07-15T08:30', 'Europe/Berlin', ['2026-07-15T06:30']],
    ['that the clock skips is none', '2026-03-29T02:30', 'Europe/Berlin', []],
    [
      'that the clock shows twice is two',
      '2026-10-25T02:30',
      'Europe/Berlin',
      ['2026-10-25T00:30', '2026-10-25T01:30'],
    ],
    ['just before and after the change is one', '2026-10-25T03:00', 'Europe/Berlin', ['2026-10-25T02:00']],
    ['twice in New York', '2026-11-01T01:30', 'America/New_York', ['2026-11-01T05:30', '2026-11-01T06:30']],
    ['with half an hour', '2026-01-15T08:30', 'Asia/Kolkata', ['2026-01-15T03:00']],
    [
      'half an hour back',
      '2026-04-05T01:45',
      'Australia/Lord_Howe',
      ['2026-04-04T14:45', '2026-04-04T15:15'],
    ],
    ['in UTC', '2026-01-15T08:30', 'UTC', ['2026-01-15T08:30']],
    ['that is no time', '2026-01-15T25:00', 'UTC', []],
    ['of which the date is missing', 'T08:30', 'UTC', []],
  ])('%s', (_name, wall, zone, expected) => {
    expect(iso(momentsOf(wall, zone))).toEqual(expected);
  });

  test.each([
    ['2026-10-25T00:30:00Z', '2026-10-25T02:30:00+02:00'],
    ['2026-10-25T01:30:00Z', '2026-10-25T02:30:00+01:00'],
    ['2026-01-15T07:30:59.900Z', '2026-01-15T08:30:59+01:00'],
  ])('%s is written with its offset', (moment, text) => {
    expect(momentText(Date.parse(moment), 'Europe/Berlin')).toBe(text);
    expect(wallText(Date.parse(moment), 'Europe/Berlin')).toBe(text.slice(0, 16));
  });
  test('west of Greenwich too', () => {
    expect(momentText(Date.parse('2026-01-15T03:00:00Z'), 'America/St_Johns')).toBe(
      '2026-01-14T23:30:00-03:30',
    );
  });
});

test.each([
  [0, '0 min'],
  [59, '0 min'],
  [3599, '59 min'],
  [3600, '1 h'],
  [7800, '2 h 10 min'],
  [48 * 3600, '2 d 0 h'],
  [-30, '0 min'],
])('an age of %d s is %s', (seconds, text) => {
  expect(ageText(seconds)).toBe(text);
});

test('a clock shows the day where it is another', () => {
  const now = Date.parse('2026-11-25T00:30:00+01:00');
  expect(clockText('2026-11-25T00:10:00+01:00', 'Europe/Berlin', now)).toBe('00:10');
  expect(clockText('2026-11-24T23:50:00+01:00', 'Europe/Berlin', now)).toBe('24 Nov 23:50');
});
