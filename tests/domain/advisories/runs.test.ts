/** Which rules run on which drains, by what is stated with the drains of a patient. */
import { describe, expect, it } from 'vitest';
import {
  asDrain,
  episodesIn,
  HEART,
  hourly,
  PATIENT,
  raisedValue,
  reasonsIn,
  ruleCalled,
  TRAUMA,
  tableOf,
} from '../../support/advice.ts';
import { at, corrected, level, placed, says, setUp } from '../../support/drain-script.ts';

describe('facts stated with several drains of a patient', () => {
  const two = (a: object, b: object, volumes = [320]) => [
    ...asDrain('left', hourly(volumes, { ...HEART, ...a })),
    ...asDrain('right', hourly([20], { ...HEART, site: 'mediastinal', ...b })),
  ];
  const RULE = 'michelson-hour-1';

  it('with one of them hold for the patient', () => {
    const bare = { population: undefined, indication: undefined, chest_closed_at: undefined };
    const [found] = episodesIn(two({}, bare), RULE);
    expect(found === undefined ? null : raisedValue(found)).toBe(340);
  });

  it('that differ leave open which holds', () => {
    const later = { chest_closed_at: at('08:10') };
    expect(reasonsIn(two({}, later), RULE)).toEqual(['chest-closure-differs']);
    const child = { population: 'paediatric' };
    expect(reasonsIn(two({}, child), RULE)).toEqual(['population-differs']);
  });

  it('a drain that is in for something else is not summed', () => {
    const [found] = episodesIn(two({}, { indication: 'effusion' }), RULE);
    expect(found === undefined ? null : raisedValue(found)).toBe(320);
  });

  it('one that went in later drained nothing before: the sum is whole', () => {
    const later = [placed('08:30', { ...PATIENT, ...HEART }), setUp('08:30', 0), level('a', '09:00', 20)];
    const story = [...asDrain('left', hourly([100], HEART)), ...asDrain('right', later)];
    expect(reasonsIn(story, RULE)).toEqual([]);
  });

  it('one that is out goes on counting for what it drained, and ends nothing alone', () => {
    const out = asDrain('right', [says('out', '09:00', 'removed', {})]);
    const story = [...two({}, {}, [290]), ...out];
    expect(episodesIn(story, RULE)).toMatchObject([{ raised: { at_text: at('09:00') }, ended_at: null }]);
    const both = [...story, ...asDrain('left', [says('out', '09:30', 'removed', {})])];
    expect(episodesIn(both, RULE)).toMatchObject([{ ended_at: at('09:30') }]);
    const leftFirst = [
      ...two({}, {}, [290]),
      ...asDrain('left', [says('out', '09:10', 'removed', {})]),
      ...asDrain('right', [says('out', '09:20', 'removed', {})]),
    ];
    expect(episodesIn(leftFirst, RULE)).toMatchObject([{ ended_at: at('09:20') }]);
  });
});

describe('a fact that is stated after the readings', () => {
  const told = (first: object) => hourly([320], { ...HEART, ...first });
  const RULE = 'michelson-hour-1';
  const since = (origin: 'unit-arrival' | 'injury') =>
    tableOf({ ...ruleCalled(RULE), clock: { origin, from_h: 0, to_h: 1 } });

  it.each([
    ['population', { population: undefined }, { population: 'adult' }],
    ['indication', { indication: 'effusion' }, { indication: 'cardiac-surgery' }],
    ['chest closure', { chest_closed_at: undefined }, { chest_closed_at: at('08:00') }],
  ] as const)('is judged by from the first of them on: %s', (_, first, stated) => {
    expect(episodesIn(told(first), RULE)).toEqual([]);
    const story = [...told(first), says('late', '12:00', 'drain-updated', stated)];
    expect(episodesIn(story, RULE).map(raisedValue)).toEqual([320]);
    expect(reasonsIn(story, RULE)).toEqual([]);
  });

  it.each([
    ['unit-arrival', { unit_arrived_at: at('08:00') }],
    ['injury', { injured_at: at('08:00') }],
  ] as const)('is judged by from the first of them on: %s', (origin, stated) => {
    const story = [...told({}), says('late', '12:00', 'drain-updated', stated)];
    expect(episodesIn(told({}), RULE, since(origin))).toEqual([]);
    expect(episodesIn(story, RULE, since(origin)).map(raisedValue)).toEqual([320]);
  });

  it('is judged by from the first of them on: a site that was charted wrong', () => {
    const wrong = hourly([1600], { ...TRAUMA, site: 'mediastinal' });
    const right = placed('08:00', { ...PATIENT, ...TRAUMA, site: 'pleural-left' });
    expect(episodesIn(wrong, 'atls-at-once')).toEqual([]);
    const story = [...wrong, corrected('fix', 'placed', right)];
    expect(episodesIn(story, 'atls-at-once').map(raisedValue)).toEqual([1600]);
  });
});

describe('a clock that runs from placement', () => {
  it('starts with the first of several drains: 320 mL by 09:30 are not of its first hour', () => {
    const row = {
      ...ruleCalled('michelson-hour-1'),
      clock: { origin: 'placement', from_h: 0, to_h: 1 },
    } as const;
    const later = [placed('08:30', { ...PATIENT, ...HEART }), setUp('08:30', 0), level('a', '09:30', 310)];
    const story = [...asDrain('left', hourly([100, 0], HEART)), ...asDrain('right', later)];
    expect(episodesIn(story, row.id, tableOf(row))).toEqual([]);
    expect(episodesIn(asDrain('right', later), row.id, tableOf(row)).map(raisedValue)).toEqual([310]);
  });
});
