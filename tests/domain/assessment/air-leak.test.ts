/** Time without an air leak, and days until it was last seen. */
import { describe, expect, it } from 'vitest';
import { HOUR_MS } from '../../../src/domain/numbers/units.ts';
import type { Reading } from '../../../src/domain/vocabulary/entry.ts';
import { at, clamped, dec, reading, says, type Told, unclamped } from '../../support/drain-script.ts';
import { grade, leak, leakOf, START } from '../../support/leaks.ts';

describe('leak-free time', () => {
  const freeOf = (story: readonly Told[]) => {
    const free = leakOf([...START, ...story]).leak_free;
    return free.value_ms === null
      ? free.reason
      : {
          hours: free.value_ms / HOUR_MS,
          from: free.from.row.item.id,
          after: free.starts_after,
          without: free.not_counted,
        };
  };
  const none = (time: string, more: Omit<Reading, 'kind'> = {}) => leak(time, { phase: 'none' }, more);

  it.each<[string, Told[], unknown]>([
    ['nothing assessed', [reading('x', '01:00', {})], 'not-assessed'],
    ['a leak at last', [none('01:00'), grade('02:00', 1)], 'leak-at-newest-assessment'],
    [
      'one absence is a beginning',
      [grade('01:00', 1), none('02:00')],
      { hours: 0, from: 'r02:00', after: 'leak', without: [] },
    ],
    [
      'from the first absence, not from the last leak',
      [grade('01:00', 1), none('02:00'), grade('03:00', 0), leak('04:30', { flow_ml_min: dec(0) })],
      { hours: 2.5, from: 'r02:00', after: 'leak', without: [] },
    ],
    [
      'no absence while another reading of the moment shows a leak',
      [none('01:00'), reading('a', '02:00', { air_leak: { grade: dec(1) } }), none('02:00')],
      'leak-at-newest-assessment',
    ],
    [
      'a leak in between starts it anew',
      [none('01:00'), leak('02:00', { grade: dec(0), flow_ml_min: dec(5) }), none('03:00'), none('04:00')],
      { hours: 1, from: 'r03:00', after: 'leak', without: [] },
    ],
    [
      'never a leak',
      [none('01:00'), none('02:00')],
      { hours: 1, from: 'r01:00', after: 'nothing-assessed', without: [] },
    ],
    [
      'a gap of exactly the limit of 2 h does not break it',
      [none('01:00'), none('03:00')],
      { hours: 2, from: 'r01:00', after: 'nothing-assessed', without: [] },
    ],
    [
      'a longer gap does',
      [none('01:00'), none('02:00'), none('04:01'), none('05:01')],
      { hours: 1, from: 'r04:01', after: 'gap', without: [] },
    ],
    [
      'readings that say nothing of a leak do not bridge a gap',
      [none('01:00'), reading('x', '02:30', { tidaling: 'present' }), none('04:00')],
      { hours: 0, from: 'r04:00', after: 'gap', without: [] },
    ],
    [
      'clamped time is not counted, what is read in it neither',
      [none('01:00'), clamped('k', '01:15'), grade('01:30', 3), unclamped('o', '02:00'), none('02:30')],
      { hours: 0.75, from: 'r01:00', after: 'nothing-assessed', without: ['clamped'] },
    ],
    [
      'time after the swing was lost is not counted, from when it was last seen until it is again',
      [
        none('01:00', { tidaling: 'present' }),
        none('02:00', { tidaling: 'present' }),
        none('03:00', { tidaling: 'absent' }),
        none('04:00', { tidaling: 'present' }),
        none('05:00'),
      ],
      { hours: 2, from: 'r01:00', after: 'nothing-assessed', without: ['swing-lost'] },
    ],
    [
      'time that is both is left out once',
      [
        none('01:00', { tidaling: 'present' }),
        none('02:00', { tidaling: 'absent' }),
        clamped('k', '02:15'),
        unclamped('o', '02:45'),
        none('03:00', { tidaling: 'present' }),
        none('04:00'),
      ],
      { hours: 1, from: 'r01:00', after: 'nothing-assessed', without: ['clamped', 'swing-lost'] },
    ],
    [
      'a swing that was lost before is all there is to it',
      [
        grade('01:00', 2, {}),
        reading('s1', '01:10', { tidaling: 'present' }),
        none('02:00', { tidaling: 'absent' }),
        none('03:00'),
      ],
      'swing-lost',
    ],
    [
      'one that was lost before and is seen again counts from then',
      [
        grade('01:00', 2),
        reading('s1', '01:10', { tidaling: 'present' }),
        none('02:00', { tidaling: 'absent' }),
        none('03:00', { tidaling: 'present' }),
        none('04:00'),
      ],
      { hours: 1, from: 'r02:00', after: 'leak', without: ['swing-lost'] },
    ],
    [
      'one that is seen again with the first absence is a beginning',
      [
        reading('s1', '01:10', { tidaling: 'present' }),
        reading('s2', '01:20', { tidaling: 'absent' }),
        none('02:00', { tidaling: 'present' }),
      ],
      { hours: 0, from: 'r02:00', after: 'nothing-assessed', without: [] },
    ],
    [
      'one that is lost right after the first absence leaves the beginning',
      [none('01:00', { tidaling: 'present' }), none('02:00', { tidaling: 'absent' })],
      { hours: 0, from: 'r01:00', after: 'nothing-assessed', without: ['swing-lost'] },
    ],
    [
      'a phase alone shows a leak',
      [none('01:00'), leak('02:00', { phase: 'expiratory' })],
      'leak-at-newest-assessment',
    ],
    [
      'a grade beyond the scale alone assesses nothing',
      [none('01:00'), none('02:00'), grade('03:00', 8)],
      { hours: 1, from: 'r01:00', after: 'nothing-assessed', without: [] },
    ],
  ])('%s', (_, story, expected) => {
    expect(freeOf(story)).toEqual(expected);
  });

  it('is as of the newest reading that assessed it', () => {
    const story = [...START, none('01:00'), none('02:00'), reading('x', '03:00', { tidaling: 'present' })];
    expect(leakOf(story).newest?.row.item.id).toBe('r02:00');
    expect(leakOf(START).newest).toBeNull();
  });
});

describe('leak days', () => {
  const daysOf = (story: readonly Told[]) => {
    const days = leakOf(story).leak_days;
    return days.value_ms === null ? days.reason : [days.origin, days.value_ms / HOUR_MS];
  };
  const closed = (time: string) => says('closed', '00:00', 'drain-updated', { chest_closed_at: at(time) });

  it.each<[string, Told[], unknown]>([
    ['from the placement', [grade('+2 12:00', 1), grade('+3 00:00', 0)], ['placed_at', 60]],
    [
      'from the chest closure where one is stated',
      [closed('06:00'), grade('+1 12:00', 1)],
      ['chest_closed_at', 30],
    ],
    ['none while nothing was assessed', [], 'not-assessed'],
    ['none while no leak was seen', [grade('01:00', 0)], 'no-leak-seen'],
    ['0 for a leak at the closure', [closed('06:00'), grade('06:00', 1)], ['chest_closed_at', 0]],
    ['none for a leak before the closure', [closed('06:00'), grade('05:00', 1)], 'leak-before-origin'],
  ])('%s', (_, story, expected) => {
    expect(daysOf([...START, ...story])).toEqual(expected);
  });
});
