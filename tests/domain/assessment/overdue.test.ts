/** When a drain has gone unread for too long. How often a drain is read is local policy: the hours here are examples. */
import { describe, expect, it } from 'vitest';
import { overdueAt } from '../../../src/domain/assessment/overdue.ts';
import { epochMs, HOUR_MS, MINUTE_MS } from '../../../src/domain/numbers/units.ts';
import {
  at,
  bookOf,
  instilled,
  level,
  placed,
  reading,
  says,
  setUp,
  type Told,
  voided,
} from '../../support/drain-script.ts';

const EVERY = { adult: 4, paediatric: 2 };

const overdue = (story: readonly Told[], time: string) => {
  const { view, chart } = bookOf(story);
  return overdueAt(view, chart, EVERY, epochMs(Date.parse(at(time))));
};
const start = (more: object = {}) => [placed('08:00', more), setUp('08:00', 0)];
const READ = [...start(), level('a', '09:00', 10)];

describe('a drain is overdue', () => {
  it('once its newest reading is older than expected, not at that age', () => {
    expect(overdue(READ, '13:00')).toBeNull();
    expect(overdue(READ, '13:01')).toEqual({
      last_reading_at: at('09:00'),
      age_ms: 4 * HOUR_MS + MINUTE_MS,
      expected_h: 4,
    });
  });

  it('counts from the placement before the first reading: a set-up reads nothing', () => {
    expect(overdue([placed('08:00'), setUp('10:00', 0)], '13:00')).toEqual({
      last_reading_at: null,
      age_ms: 5 * HOUR_MS,
      expected_h: 4,
    });
  });

  it.each([
    ['adult', { population: 'adult' }, 4],
    ['child', { population: 'paediatric' }, 2],
    ['patient of whom it is not stated which: the sooner', { population: undefined }, 2],
  ])('after the hours for its population: %s', (_, facts, hours) => {
    const story = start(facts);
    expect(overdue(story, `${8 + hours}:00`)).toBeNull();
    expect(overdue(story, `${8 + hours}:01`)).toMatchObject({ expected_h: hours });
  });

  it('whatever else was charted meanwhile; a reading without a level is one', () => {
    expect(overdue([...READ, instilled('i', '12:00', 10)], '14:00')).toMatchObject({
      last_reading_at: at('09:00'),
    });
    const swing = reading('swing', '12:00', { tidaling: 'present' });
    expect(overdue([...READ, swing], '14:00')).toBeNull();
    expect(overdue([...READ, swing, voided('v', 'swing')], '14:00')).toMatchObject({
      last_reading_at: at('09:00'),
    });
  });

  it('where the newer reading does not count', () => {
    const ahead: Told = {
      ...level('b', '12:00', 20),
      author: { type: 'device', reference: 'Device/1' },
      recorded: '11:00',
    };
    expect(overdue([...READ, ahead], '14:00')).toMatchObject({ last_reading_at: at('09:00') });
  });

  it('while it is in: not before its placement is charted, nor once it is out', () => {
    expect(overdue([setUp('08:00', 0)], '20:00')).toBeNull();
    expect(overdue([...READ, says('out', '10:00', 'removed', {})], '20:00')).toBeNull();
  });
});
