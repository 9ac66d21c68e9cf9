/** Air leak and fluid beside what a removal policy names. All readings are invented. */
import { describe, expect, it } from 'vitest';
import { HOUR_MS } from '../../../src/domain/numbers/units.ts';
import type { FluidCharacter } from '../../../src/domain/vocabulary/entry.ts';
import {
  clamped,
  dec,
  level,
  reading,
  says,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';
import {
  BY_WEIGHT,
  evidenceOf,
  grade,
  policy,
  START,
  standing,
  time,
  UP_TO_450,
} from '../../support/removal.ts';

describe('no air leak', () => {
  const leak = (...told: readonly Told[]) => standing([START, setUp('00:00', 0), ...told], 'air-leak');
  it('is as the newest assessment shows', () => {
    expect(leak()).toEqual(['not-known', 'not-assessed']);
    expect(leak(grade('a', '01:00', 2), grade('b', '02:00', 0))).toEqual(['met', null]);
    expect(leak(grade('a', '01:00', 0), grade('b', '02:00', 2))).toEqual(['not-met', null]);
  });
  it('is not known from one of over 24 h before, nor of a tube that lost its swing', () => {
    expect(leak(grade('a', '01:00', 0), level('l', '+1 01:00', 5))).toEqual(['met', null]);
    expect(leak(grade('a', '01:00', 0), level('l', '+1 01:01', 5))).toEqual([
      'not-known',
      'assessed-too-long-ago',
    ]);
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    const lost = [swing('01:00', 'present'), swing('02:00', 'absent'), grade('a', '03:00', 0)];
    expect(leak(...lost)).toEqual(['not-known', 'swing-lost']);
    expect(leak(...lost, swing('04:00', 'present'), grade('b', '05:00', 0))).toEqual(['met', null]);
    expect(leak(...lost, swing('03:00', 'present'))).toEqual(['met', null]);
  });
  it('may be known from one before the swing was lost', () => {
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    const seen = grade('a', '03:00', 0);
    expect(leak(seen, swing('03:00', 'present'), swing('04:00', 'absent'))).toEqual(['met', null]);
    expect(leak(seen, swing('03:30', 'present'), swing('04:00', 'absent'))).toEqual(['met', null]);
  });
  it('is not met where one of two readings of the newest moment shows a leak, whichever was sent by which key', () => {
    for (const [leaking, tight] of [
      ['a', 'b'],
      ['b', 'a'],
    ] as const)
      expect(leak(grade(leaking, '01:00', 2), grade(tight, '01:00', 0))).toEqual(['not-met', null]);
  });
  it('counts the age of an assessment up to what was charted of the drain while it was in', () => {
    const out = says('out', '02:00', 'removed', {});
    expect(leak(grade('a', '01:00', 0), out, level('late', '+2 00:00', 5))).toEqual(['met', null]);
  });
  it('names the assessment behind it', () => {
    const behind = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told]).criteria.find(
        ({ criterion }) => criterion === 'air-leak',
      );
    expect(behind()).toMatchObject({ leak: null, entries: [] });
    expect(behind(grade('a', '01:00', 2), grade('b', '02:00', 0))).toMatchObject({
      leak: false,
      entries: ['b'],
    });
  });
});

describe('a flow below 20 mL/min for more than 6 h', () => {
  const flow = (hour: number, value: number) =>
    reading(`f${hour}`, time(hour), { air_leak: { flow_ml_min: dec(value) } });
  const run = (from: number, to: number, value = 10) =>
    Array.from({ length: to - from + 1 }, (_, i) => flow(from + i, value));
  const flows = (...told: readonly Told[]) => {
    const story = [START, setUp('00:00', 0), ...told];
    return standing(story, 'air-flow', BY_WEIGHT);
  };
  it('is met by readings below it for longer, not for 6 h exactly', () => {
    expect(flows()).toEqual(['not-known', 'not-assessed']);
    expect(flows(...run(1, 8))).toEqual(['met', null]);
    expect(flows(...run(1, 7))).toEqual(['not-known', 'shown-for-too-short']);
    expect(flows(...run(1, 8, 20))).toEqual(['not-met', null]);
  });
  it('is not met where one of the 6 h was at it or over, and not known where none was but the time is short', () => {
    expect(flows(flow(1, 20), ...run(2, 7))).toEqual(['not-met', null]);
    expect(flows(flow(1, 20), ...run(2, 9))).toEqual(['met', null]);
    expect(flows(flow(1, 20), ...run(2, 8))).toEqual(['not-known', 'shown-for-too-short']);
  });
  it('is not known over a gap, a clamp, a lost swing, nor from long ago', () => {
    expect(flows(...run(1, 3), ...run(6, 9))).toEqual(['not-known', 'gap-too-long']);
    expect(flows(...run(1, 3), ...run(5, 9))).toEqual(['met', null]);
    const clamp = [clamped('c', '04:10'), unclamped('u', '04:20')];
    expect(flows(...run(1, 8), ...clamp)).toEqual(['not-known', 'clamped']);
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    expect(flows(...run(1, 8), swing('01:30', 'present'), swing('02:30', 'absent'))).toEqual([
      ...['not-known', 'swing-lost'],
    ]);
    expect(flows(...run(1, 8), level('l', '+1 08:01', 5))).toEqual(['not-known', 'assessed-too-long-ago']);
  });
  it('is met whatever hid the flow before that time or after the newest reading of it', () => {
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    const before = [clamped('c', '00:10'), unclamped('u', '00:20')];
    const after = [clamped('c', '08:00')];
    const lostBefore = [swing('00:10', 'present'), swing('00:20', 'absent'), swing('01:00', 'present')];
    const lostAfter = [swing('08:00', 'present'), swing('08:30', 'absent')];
    for (const hidden of [before, after, lostBefore, lostAfter])
      expect(flows(...run(1, 8), ...hidden)).toEqual(['met', null]);
  });
  it('looks at no reading that charts another sign of a leak', () => {
    const story = [START, setUp('00:00', 0), ...run(1, 8), grade('g', '09:00', 0)];
    const found = evidenceOf(story, BY_WEIGHT).criteria.find(({ criterion }) => criterion === 'air-flow');
    expect(found).toMatchObject({ flow: 10_000, below_ms: 7 * HOUR_MS });
    expect(flows(grade('g', '01:00', 0))).toEqual(['not-known', 'not-assessed']);
  });
  it('names the reading that is not below it, and none where there is none', () => {
    const find = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told], BY_WEIGHT).criteria.find(
        ({ criterion }) => criterion === 'air-flow',
      );
    expect(find(...run(1, 3), flow(4, 25))).toMatchObject({ flow: 25_000, below_ms: 0, entries: ['f4'] });
    expect(find()).toMatchObject({ flow: null, below_ms: null, entries: [] });
  });
  it('shows for how long, and names the readings', () => {
    const story = [START, setUp('00:00', 0), flow(1, 30), ...run(2, 9)];
    const found = evidenceOf(story, BY_WEIGHT).criteria.find(({ criterion }) => criterion === 'air-flow');
    expect(found).toMatchObject({ flow: 10_000, below_ms: 7 * HOUR_MS });
    expect(found?.entries).toEqual(['f1', 'f2', 'f3', 'f4', 'f5', 'f6', 'f7', 'f8', 'f9']);
  });
});

describe('fluid', () => {
  const fluid = (characters: readonly FluidCharacter[], of = UP_TO_450, more: readonly Told[] = []) =>
    standing(
      [
        ...[START, setUp('00:00', 0), ...more],
        ...characters.map((fluid_character, i) => reading(`c${i}`, time(i + 1), { fluid_character })),
      ],
      'fluid',
      of,
    );
  it.each([
    ['serous', ['met', null], ['met', null]],
    ['serosanguineous', ['not-known', 'not-named-by-the-source'], ['not-met', null]],
    ['sanguineous', ['not-met', null], ['not-met', null]],
    ['chylous', ['not-met', null], ['not-met', null]],
    ['purulent', ['not-met', null], ['not-met', null]],
    ['other', ['not-known', 'not-named-by-the-source'], ['not-known', 'not-named-by-the-source']],
  ] as const)(
    '%s: %j where it must not be bloody, chylous or purulent, %j where serous',
    (character, a, b) => {
      expect(fluid([character])).toEqual(a);
      expect(fluid([character], policy('vats-lobectomy-500-ml-2014'))).toEqual(b);
    },
  );
  it('names that reading, and none where there is none', () => {
    const behind = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told]).criteria.find(({ criterion }) => criterion === 'fluid');
    const serous = reading('a', '01:00', { fluid_character: 'serous' });
    expect(behind(serous, level('l', '02:00', 5))).toMatchObject({ character: 'serous', entries: ['a'] });
    expect(behind()).toMatchObject({ character: null, entries: [] });
  });
  it('is that of the newest reading that charts it', () => {
    expect(fluid([])).toEqual(['not-known', 'not-assessed']);
    expect(fluid(['sanguineous', 'serous'])).toEqual(['met', null]);
    expect(fluid(['serous'], UP_TO_450, [level('l', '+1 01:01', 5)])).toEqual([
      ...['not-known', 'assessed-too-long-ago'],
    ]);
  });
  it.each([
    ['sanguineous', ['not-met', null], 'sanguineous'],
    ['other', ['not-known', 'not-named-by-the-source'], 'other'],
    ['serous', ['met', null], 'serous'],
  ] as const)('charted twice at the newest moment, serous and %s: %j', (other, expected, character) => {
    for (const [one, two] of [
      ['serous', other],
      [other, 'serous'],
    ] as const) {
      const twice = [one, two].map((fluid_character, i) => reading(`c${i}`, '01:00', { fluid_character }));
      const found = evidenceOf([START, ...twice]).criteria.find(({ criterion }) => criterion === 'fluid');
      expect(found).toMatchObject({ status: expected[0], reason: expected[1], character });
      expect(found?.entries).toEqual(['c0', 'c1']);
    }
  });
});
