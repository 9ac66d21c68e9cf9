/** Rules on what is seen rather than measured in volume: a leak that goes on, a swing that is lost, output that stops. */
import { describe, expect, it } from 'vitest';
import type { Rule } from '../../../src/domain/vocabulary/rule.ts';
import { adviceOn, episodesIn, raisedValue, ruleCalled, tableOf } from '../../support/advice.ts';
import {
  at,
  clamped,
  dec,
  level,
  placed,
  reading,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';

const LUNG = {
  patient: { reference: 'Patient/1' },
  indication: 'thoracic-surgery',
  chest_closed_at: at('08:00'),
};
const leak = (key: string, time: string, grade: number): Told =>
  reading(key, time, { air_leak: { grade: dec(grade) } });
const inPlace = (more: object = LUNG): Told[] => [placed('08:00', more), setUp('08:00', 0)];

describe('an air leak seen after more than 5 days (STS database; Attaar 2017; Mueller 2014)', () => {
  const RULE = 'leak-beyond-5d';
  it.each([
    ['just under', '+5 07:59:59', 0],
    ['at 5 days', '+5 08:00:00', 0],
    ['just over', '+5 08:00:01', 1],
  ])('%s: raised or not by >, on the unrounded time', (_, time, episodes) => {
    expect(episodesIn([...inPlace(), leak('a', time, 1)], RULE)).toHaveLength(episodes);
  });

  it('is counted from the chest closure, else from the placement', () => {
    const seen = leak('a', '+6 08:00', 1);
    const value = (more: object) => episodesIn([...inPlace(more), seen], RULE).map(raisedValue);
    expect(value(LUNG)).toEqual([6]);
    expect(value({ ...LUNG, chest_closed_at: '2026-02-28T08:00:00Z' })).toEqual([7]);
    expect(value({ ...LUNG, chest_closed_at: undefined })).toEqual([6]);
  });

  it('goes on while one of two readings of a moment shows a leak, whichever was sent by which key', () => {
    for (const [leaking, tight] of [
      ['b', 'c'],
      ['c', 'b'],
    ] as const) {
      const both = [leak(leaking, '+6 09:00', 1), leak(tight, '+6 09:00', 0)];
      const found = episodesIn([...inPlace(), leak('a', '+6 08:00', 1), ...both], RULE);
      expect(found).toMatchObject([{ ended_at: null }]);
    }
  });
  it('ends at the first assessment without a leak, and is for adults after lung surgery only', () => {
    const story = [...inPlace(), leak('a', '+6 08:00', 1), leak('b', '+6 09:00', 0)];
    expect(episodesIn(story, RULE)).toMatchObject([{ ended_at: at('+6 09:00') }]);
    const other = [...inPlace({ ...LUNG, indication: 'pneumothorax' }), leak('a', '+6 08:00', 1)];
    expect(episodesIn(other, RULE)).toEqual([]);
  });

  it('says nothing of a clamped tube', () => {
    expect(episodesIn([...inPlace(), clamped('c', '+5 10:00'), leak('a', '+6 08:00', 1)], RULE)).toEqual([]);
  });
});

describe('a swing that is lost (common practice, no source)', () => {
  const swing = (key: string, time: string, tidaling: 'present' | 'absent' | 'not-assessed') =>
    reading(key, time, { tidaling });
  const story = [...inPlace(), swing('a', '09:00', 'present'), swing('b', '10:00', 'absent')];

  it('stands while one of two readings of a moment shows none, whichever was sent by which key', () => {
    for (const [none, some] of [
      ['c', 'd'],
      ['d', 'c'],
    ] as const) {
      const both = [swing(none, '11:00', 'absent'), swing(some, '11:00', 'present')];
      expect(episodesIn([...story, ...both], 'swing-lost')).toMatchObject([{ ended_at: null }]);
    }
  });

  it('is raised by the first reading without it after one with it, and ended by the next with it', () => {
    const back = swing('d', '12:00', 'present');
    const found = episodesIn([...story, swing('c', '11:00', 'not-assessed'), back], 'swing-lost');
    expect(found).toMatchObject([
      { raised: { at_text: at('10:00'), value: null, entries: ['b'] }, ended_at: at('12:00') },
    ]);
  });

  it('that stays lost is one episode from the first reading without it to the newest', () => {
    const still = [...story, swing('c', '11:00', 'absent')];
    expect(episodesIn(still, 'swing-lost')).toMatchObject([
      {
        raised: { at_text: at('10:00') },
        peak: { at_text: at('10:00') },
        newest: { at_text: at('11:00'), entries: ['c'] },
        ended_at: null,
      },
    ]);
  });

  it('is not found where none was ever seen, in a clamped tube, or in a mediastinal one', () => {
    const never = [...inPlace(), swing('b', '10:00', 'absent')];
    const shut = [...story.slice(0, 3), clamped('c', '09:30'), swing('b', '10:00', 'absent')];
    const mediastinal = [...inPlace({ ...LUNG, site: 'mediastinal' }), ...story.slice(2)];
    for (const told of [never, shut, mediastinal]) expect(episodesIn(told, 'swing-lost')).toEqual([]);
  });
});

describe('output that stops after it was steady (figures of local policy; no published ones were found)', () => {
  const ROW = ruleCalled('output-stopping');
  const stops = (more: Partial<Rule> = {}) => tableOf({ ...ROW, on: true, ...more } as Rule);
  /** 60 mL in each of four hours, then what is given. */
  const told = (...then: readonly number[]): Told[] => {
    let ml = 0;
    return [60, 60, 60, 60, ...then].map((volume, n) => {
      ml += volume;
      return level(`h${n}`, `${String(9 + n).padStart(2, '0')}:00`, ml);
    });
  };
  const found = (story: readonly Told[], table = stops()) =>
    episodesIn([...inPlace(), ...story], 'output-stopping', table);

  it('is raised by two hours that surely gave less than 10 mL/h after four that surely gave 50', () => {
    expect(found(told(0, 0))).toMatchObject([
      { raised: { at_text: at('14:00'), crossed: true, within_uncertainty: false }, ended_at: null },
    ]);
    expect(raisedValue(found(told(0, 0))[0] as never)).toBe(0);
  });

  it('is not raised where the error of reading leaves it open: U of a 5 mL scale over 2 h is 2.04 mL/h', () => {
    expect(found(told(10, 5))).toHaveLength(1); // 7.5 + 2.04 < 10
    expect(found(told(10, 10))).toEqual([]); // 10 + 2.04
    expect(found(told(5, 11))).toEqual([]); // 8 + 2.04 = 10.04
  });

  it('is not raised where the hours before were not surely steady: U over 4 h is 1.02 mL/h', () => {
    const at50 = stops({ steady_ml_h: dec(60) } as Partial<Rule>);
    const at58 = stops({ steady_ml_h: dec('58.9') } as Partial<Rule>);
    expect(found(told(0, 0), at50)).toEqual([]);
    expect(found(told(0, 0), at58)).toHaveLength(1);
  });

  it('says nothing of a tube that was clamped in the hours without output', () => {
    const story = [...told(), clamped('c', '12:30'), unclamped('u', '12:40'), ...told(0, 0).slice(4)];
    expect(found(story)).toEqual([]);
    expect(reasonsOf(story)).toContain('clamped');
  });

  const reasonsOf = (story: readonly Told[]) =>
    adviceOn([...inPlace(), ...story], stops()).not_assessable.map(({ reason }) => reason);

  it('is not assessable over gaps, and ends when output is back', () => {
    const gap = [level('a', '12:00', 240), level('b', '17:00', 240)];
    expect(found(gap)).toEqual([]);
    expect(reasonsOf(gap)).toContain('not-covered');
    expect(found(told(0, 0, 50))).toMatchObject([{ ended_at: at('15:00') }]);
  });

  it('ships switched off, as an example', () => {
    expect(ROW).toMatchObject({ on: false, evidence: 'common practice, no source' });
  });
});
