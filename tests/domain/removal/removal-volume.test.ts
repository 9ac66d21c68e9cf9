/** Volume beside the limit of a removal policy. All readings are invented. */
import { describe, expect, it } from 'vitest';
import { approximately } from '../../../src/domain/numbers/rational.ts';
import {
  changed,
  clamped,
  instilled,
  level,
  reading,
  sampled,
  says,
  setUp,
  type Told,
  weighed,
} from '../../support/drain-script.ts';
import { BY_WEIGHT, day, evidenceOf, START, standing, time, UP_TO_450 } from '../../support/removal.ts';

const volumeIn = (story: readonly Told[], of = UP_TO_450) => standing(story, 'volume', of);

describe('volume over 24 h, up to 450 mL', () => {
  // Marks of 5 mL: U of the difference of two levels is 4.08 mL, k = 2 (JCGM 100:2008, 4.3.7).
  it.each([
    [240, ['met', null]],
    [432, ['met', null]],
    [445.9, ['met', null]],
    [446, ['not-known', 'within-uncertainty']],
    [450, ['not-known', 'within-uncertainty']],
    [454, ['not-known', 'within-uncertainty']],
    [454.1, ['not-met', null]],
    [480, ['not-met', null]],
  ])('%d mL: %j', (total, expected) => {
    const last = level('l24', '+1 00:00', total);
    expect(volumeIn([...day(240).slice(0, -1), last])).toEqual(expected);
  });

  it('is met only by net and drained + sampled both, and not met only by neither', () => {
    expect(volumeIn(day(480, [instilled('i', '06:00', 100)]))).toEqual([
      'not-known',
      'net-and-drained-differ',
    ]);
    expect(volumeIn(day(600, [instilled('i', '06:00', 100)]))).toEqual(['not-met', null]);
    expect(volumeIn(day(360, [instilled('i', '06:00', 100)]))).toEqual(['met', null]);
    expect(volumeIn(day(432, [sampled('s', '06:00', 30)]))).toEqual(['not-met', null]);
    const mixed = [instilled('i', '06:00', 100), sampled('s', '06:30', 60)];
    expect(volumeIn(day(432, mixed))).toEqual(['not-known', 'net-and-drained-differ']);
    // Net is 452 ± 4.08 mL: whether it meets the limit is open, so neither can be said.
    expect(volumeIn(day(552, [instilled('i', '06:00', 100)]))).toEqual(['not-known', 'within-uncertainty']);
  });

  it('is never met by a lower bound, but may be shown not to be met by one', () => {
    const start = [START, setUp('00:00', 0)];
    const few = [...start, level('a', '03:00', 10), level('b', '+1 01:00', 30)];
    expect(volumeIn(few)).toEqual(['not-known', 'not-covered']);
    const young = [...start, level('a', '02:00', 20)];
    expect(volumeIn(young)).toEqual(['not-known', 'not-in-place-throughout']);
    expect(volumeIn([...start, level('a', '02:00', 600)])).toEqual(['not-met', null]);
    const lost = [...day(240).slice(0, -1), changed('u', '23:30', null, 0), level('z', '+1 00:00', 5)];
    expect(volumeIn(lost)).toEqual(['not-known', 'not-covered']);
  });

  it('is not met by levels that end over 24 h before what was charted last, but may be shown not to be', () => {
    const swing = (when: string) => reading('later', when, { tidaling: 'present' });
    expect(volumeIn(day(240, [swing('+2 00:00')]))).toEqual(['met', null]);
    expect(volumeIn(day(240, [swing('+2 00:01')]))).toEqual(['not-known', 'assessed-too-long-ago']);
    expect(volumeIn(day(480, [swing('+2 00:01')]))).toEqual(['not-met', null]);
    const out = says('out', '+1 01:00', 'removed', {});
    expect(volumeIn(day(240, [out, swing('+9 00:00')]))).toEqual(['met', null]);
  });

  it('is not known without a level, without a window, and without graduations', () => {
    expect(volumeIn([START])).toEqual(['not-known', 'no-level']);
    expect(volumeIn([START, setUp('00:00', 0)])).toEqual(['not-known', 'not-in-place-throughout']);
    expect(volumeIn([START, setUp('00:00', 0), level('a', '+2 00:00', 3)])).toEqual([
      'not-known',
      'not-covered',
    ]);
    const [start, , ...levels] = day(240);
    const bare = [start, level('l0', '00:00', 0), ...levels].flatMap((each) => each ?? []);
    expect(volumeIn(bare)).toEqual(['not-known', 'uncertainty-not-known']);
  });

  it('names the levels and flows of the window', () => {
    const more = [
      level('l25', time(25), 250),
      sampled('s', '06:00', 2),
      instilled('start', '01:00', 1),
      sampled('early', '00:30', 2),
      sampled('end', time(25), 2),
      clamped('other', time(25)),
    ];
    const [found] = evidenceOf([...day(240), ...more]).criteria;
    expect(found?.entries).toEqual(expect.arrayContaining(['l1', 'l2', 's', 'start', 'l25']));
    expect(found?.entries).not.toContain('set-up');
    expect(found?.entries).not.toContain('early');
    expect(found?.entries).not.toContain('end');
    expect(found?.entries).toHaveLength(27);
    if (found?.criterion !== 'volume') throw new Error('volume comes first');
    expect(approximately(found.compared?.sum.net ?? { numerator: 0n, denominator: 1n })).toBe(241_000);
  });

  it('names both levels of a fall that nothing explains, but neither what bears on no volume nor what does not count', () => {
    const entries = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told]).criteria[0]?.entries;
    const fall = [level('a', '01:00', 100), level('b', '02:00', 20), level('c', '03:00', 30)];
    expect(entries(...fall)).toEqual(['set-up', 'a', 'b', 'c']);
    const bearsOnNone = reading('x', '01:30', { tidaling: 'present' });
    const beforePlacement = sampled('y', '2026-02-28T23:30:00Z', 2);
    expect(entries(level('a', '02:00', 20), bearsOnNone, beforePlacement)).toEqual(['set-up', 'a']);
    expect(entries(bearsOnNone)).toEqual([]);
    expect(evidenceOf([START]).criteria[0]?.entries).toEqual([]);
  });
});

describe('volume by weight, below 7 mL/kg/24 h', () => {
  // 70 kg: 490 mL (arithmetic ours).
  it.each([
    [480, ['met', null]],
    [504, ['not-met', null]],
  ])('%d mL at 70 kg: %j', (total, expected) => {
    const story = day(total, [weighed('w', '00:00', 70)]);
    expect(volumeIn(story, BY_WEIGHT)).toEqual(expected);
    expect(evidenceOf(story, BY_WEIGHT).criteria[0]?.entries).toContain('w');
  });
  it('is not known without a weight at the start of the window, or with an old one', () => {
    expect(volumeIn(day(240), BY_WEIGHT)).toEqual(['not-known', 'no-weight']);
    expect(volumeIn(day(240, [weighed('w', '00:30', 70)]), BY_WEIGHT)).toEqual(['not-known', 'no-weight']);
    const old = weighed('w', '2026-02-01T00:00:00Z', 70);
    expect(volumeIn(day(240, [old]), BY_WEIGHT)).toEqual(['not-known', 'weight-too-old']);
  });
});
