import { describe, expect, it } from 'vitest';
import { roundHalfEven } from '../../../src/domain/numbers/rational.ts';
import { HOUR_MS } from '../../../src/domain/numbers/units.ts';
import { level, placed, rowOf, setUp } from '../../support/drain-script.ts';

/** Hours between the two levels, and the rate of 60 mL drained there. */
function between(from: string, to: string) {
  const story = [placed('2025-01-01T00:00:00Z'), setUp(from, 0), level('a', to, 60)];
  const { volumes } = rowOf(story, 'a');
  const interval = volumes?.interval;
  const rate = volumes?.rate;
  return {
    hours: interval === undefined ? null : (interval.to.at - interval.from.at) / HOUR_MS,
    rate: rate?.value == null ? null : roundHalfEven(rate.value, 1),
    texts: [interval?.from.at_text, interval?.to.at_text],
  };
}

describe('elapsed time across a change of the clock (IANA tz database, America/New_York; common practice, no source)', () => {
  it.each([
    [
      'autumn: 01:30 daylight to 01:30 standard is 1 h',
      '2026-11-01T01:30:00-04:00',
      '2026-11-01T01:30:00-05:00',
      1,
      '60.0',
    ],
    [
      'spring: 01:00 to 03:00 is 1 h, not 2',
      '2026-03-08T01:00:00-05:00',
      '2026-03-08T03:00:00-04:00',
      1,
      '60.0',
    ],
    [
      'spring: 01:59 to 03:00 is one minute',
      '2026-03-08T01:59:00-05:00',
      '2026-03-08T03:00:00-04:00',
      1 / 60,
      null,
    ],
    [
      'autumn: 01:00 daylight to the second 01:01 is 61 min',
      '2026-11-01T01:00:00-04:00',
      '2026-11-01T01:01:00-05:00',
      61 / 60,
      '59.0',
    ],
  ])('%s', (_, from, to, hours, rate) => {
    expect(between(from, to)).toEqual({ hours, rate, texts: [from, to] });
  });

  it('orders the two 01:30 by the moment, not by the clock face', () => {
    const story = [
      placed('2025-01-01T00:00:00Z'),
      setUp('2026-11-01T01:00:00-04:00', 0),
      level('standard', '2026-11-01T01:30:00-05:00', 90),
      level('daylight', '2026-11-01T01:45:00-04:00', 60),
    ];
    expect(rowOf(story, 'daylight').volumes?.interval.drained).toBe(60_000);
    expect(rowOf(story, 'standard').volumes?.interval.drained).toBe(30_000);
  });
});
