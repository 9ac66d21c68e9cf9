import { describe, expect, it } from 'vitest';
import { derivedFacts } from '../../../src/domain/facts/derived-facts.ts';
import {
  at,
  changed,
  instilled,
  level,
  placed,
  rebased,
  rowOf,
  sampled,
  setUp,
  type Told,
} from '../../support/drain-script.ts';

const START: readonly Told[] = [placed(), setUp('08:00', 0)];
const factOf = (story: readonly Told[], key: string) =>
  derivedFacts(rowOf(story, key)).find(({ name }) => name === 'cumulative-drainage');

describe('the cumulative sum', () => {
  it('is a total while every interval is measured: net, with its parts, since the first level', () => {
    const story = [
      ...START,
      level('a', '09:00', 100),
      instilled('in', '09:00', 20),
      changed('u', '10:00', 150, 10),
      sampled('s', '10:30', 5),
      level('b', '11:00', 40),
    ];
    expect(factOf(story, 'b')).toMatchObject({
      effective: { from: at('08:00'), to: at('11:00') },
      value: { quantity: '165' },
      components: [
        { name: 'drained', quantity: '180' },
        { name: 'sampled', quantity: '5' },
        { name: 'instilled', quantity: '20' },
        // Two scales, each read to 5 mL at start and end: 2 × √(4 × 25/12) mL.
        { name: 'uncertainty', quantity: '5.8' },
      ],
      note: null,
    });
  });

  const fall = [...START, level('a', '09:00', 200), level('b', '10:00', 250), level('c', '11:00', 210)];

  it.each([
    [
      'a fall and the rise it contradicts',
      [...fall, level('d', '12:00', 220)],
      'd',
      '210',
      '50',
      'suspect-rise, unexplained-fall',
    ],
    [
      'a unit not opened',
      [...START, changed('u', '10:00', 90, null), level('b', '11:00', 30), level('c', '12:00', 40)],
      'c',
      '100',
      '0',
      'opening-not-stated',
    ],
    [
      'a baseline in place of an opening',
      [placed(), setUp('08:00', null), level('a', '09:00', 50), level('b', '10:00', 60)],
      'b',
      '10',
      '0',
      'baseline-only',
    ],
    [
      'a unit of which no level is known',
      [placed(), setUp('08:00', null), changed('u', '10:00', null, 0), level('b', '11:00', 30)],
      'b',
      '30',
      '0',
      'baseline-only',
    ],
  ])(
    'has no plain value after %s: the sum of the measured intervals and the suspect volume instead',
    (_, story, key, sum, suspect, absent) => {
      expect(factOf(story, key)).toMatchObject({
        value: { absent },
        note: 'The sum of the measured intervals, not a total.',
      });
      expect(factOf(story, key)?.components.slice(0, 2)).toEqual([
        { name: 'sum-of-measured-intervals', quantity: sum },
        { name: 'suspect-volume', quantity: suspect },
      ]);
    },
  );

  it.each([
    [
      'a unit not closed',
      [...START, level('a', '09:00', 90), changed('u', '10:00', null, 0), level('b', '11:00', 30)],
      '120',
    ],
    ['a re-based level', [...START, rebased('tip', '10:00', 90, 10), level('b', '11:00', 30)], '110'],
    [
      'a unit neither opened nor closed, and one that was opened after it',
      [...START, changed('u', '10:00', 90, null), changed('v', '11:00', null, 0), level('b', '12:00', 30)],
      '120',
    ],
  ])('is a lower bound after %s: part of an interval is not known, the rest is', (_, story, quantity) => {
    expect(factOf(story, 'b')).toMatchObject({ value: { quantity, at_least: true }, flags: ['lower-bound'] });
  });

  it('has no plain value where a unit was neither closed nor opened: nothing bounds that interval', () => {
    const story = [
      ...START,
      level('a', '09:00', 90),
      changed('u', '10:00', null, null),
      level('b', '11:00', 30),
    ];
    expect(factOf(story, 'b')).toMatchObject({ value: { absent: 'no-closing-level, opening-not-stated' } });
  });
});
