/** Whether the swing was lost, and what was seen. */
import { describe, expect, it } from 'vitest';
import { patencyOf } from '../../../src/domain/assessment/patency.ts';
import { underConditions } from '../../../src/domain/fold/conditions.ts';
import {
  bookOf,
  clamped,
  placed,
  reading,
  rowsOf,
  says,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';

const patency = (story: readonly Told[]) => {
  const found = patencyOf(underConditions(rowsOf(story)), bookOf(story).view.site);
  return {
    swing: found.swing,
    lost: found.swing_lost,
    reason: found.reason,
    present: found.newest_present?.row.item.id ?? null,
    absent: found.newest_absent?.row.item.id ?? null,
  };
};

const START = [placed(), setUp('08:00', 0)];
const swing = (key: string, time: string, tidaling: 'present' | 'absent' | 'not-assessed', more = {}) =>
  reading(key, time, { tidaling, ...more });

describe('the swing', () => {
  it.each<[string, Told[], ReturnType<typeof patency>]>([
    [
      'is lost when it was present and is absent',
      [swing('a', '09:00', 'present'), swing('b', '10:00', 'absent'), swing('c', '11:00', 'absent')],
      { swing: 'absent', lost: true, reason: null, present: 'a', absent: 'c' },
    ],
    [
      'stays lost while nobody assesses it',
      [
        swing('a', '09:00', 'present'),
        swing('b', '10:00', 'absent'),
        swing('c', '11:00', 'not-assessed'),
        reading('d', '12:00', {}),
      ],
      { swing: 'absent', lost: true, reason: null, present: 'a', absent: 'b' },
    ],
    [
      'is lost where one of two readings of a moment shows none, whichever was sent by which key',
      [swing('a', '09:00', 'present'), swing('b', '10:00', 'absent'), swing('c', '10:00', 'present')],
      { swing: 'absent', lost: true, reason: null, present: 'c', absent: 'b' },
    ],
    [
      'is not lost once it is seen again',
      [swing('a', '09:00', 'present'), swing('b', '10:00', 'absent'), swing('c', '11:00', 'present')],
      { swing: 'present', lost: false, reason: null, present: 'c', absent: null },
    ],
    [
      'is not lost where it never was seen',
      [swing('a', '09:00', 'absent')],
      { swing: 'absent', lost: false, reason: null, present: null, absent: 'a' },
    ],
    [
      'is not known where nobody assessed it',
      [swing('a', '09:00', 'not-assessed')],
      { swing: null, lost: null, reason: 'not-assessed', present: null, absent: null },
    ],
    [
      'cannot be seen on a clamped tube',
      [
        swing('a', '09:00', 'present'),
        clamped('k', '09:30'),
        swing('b', '10:00', 'absent'),
        swing('c', '11:00', 'absent', { clamped: true }),
      ],
      { swing: 'present', lost: false, reason: null, present: 'a', absent: null },
    ],
    [
      'can be seen once it is open again',
      [
        swing('a', '09:00', 'present'),
        clamped('k', '09:30'),
        unclamped('o', '09:45'),
        swing('b', '10:00', 'absent'),
      ],
      { swing: 'absent', lost: true, reason: null, present: 'a', absent: 'b' },
    ],
    [
      'does not go by what is charted after the removal',
      [swing('a', '09:00', 'present'), says('out', '09:30', 'removed', {}), swing('b', '10:00', 'absent')],
      { swing: 'present', lost: false, reason: null, present: 'a', absent: null },
    ],
  ])('%s', (_, story, expected) => {
    expect(patency([...START, ...story])).toEqual(expected);
  });

  it('of a mediastinal tube says nothing', () => {
    const story = [placed('08:00', { site: 'mediastinal' }), setUp('08:00', 0)];
    const swings = [swing('a', '09:00', 'present'), swing('b', '10:00', 'absent')];
    expect(patency([...story, ...swings])).toMatchObject({ lost: null, reason: 'mediastinal-site' });
  });

  it('is shown with the suction of each reading, which may damp it', () => {
    const story = [
      ...START,
      swing('a', '09:00', 'present', { suction: { source: 'off' } }),
      says('on', '09:30', 'suction-changed', { source: 'on' }),
      swing('b', '10:00', 'absent'),
    ];
    const { newest_present, newest_absent } = patencyOf(underConditions(rowsOf(story)), 'pleural-left');
    expect([newest_present?.suction, newest_absent?.suction]).toEqual(['off', 'on']);
  });
});
