/** What rules say they cannot tell, and which drains they are for. */
import { describe, expect, it } from 'vitest';
import {
  adviceOn,
  asDrain,
  crossedIn,
  episodesIn,
  HEART,
  hourly,
  PATIENT,
  reasonsIn,
  ruleCalled,
  TRAUMA,
  tableOf,
} from '../../support/advice.ts';
import { at, dec, level, placed, reading, setUp, weighed } from '../../support/drain-script.ts';

describe('what is not known', () => {
  it('a gap longer than 2 h: the hour in it is not covered', () => {
    const story = [
      placed('08:00', { ...PATIENT, ...TRAUMA }),
      setUp('08:00', 0),
      level('a', '09:00', 210),
      level('b', '12:00', 400),
    ];
    const { not_assessable } = adviceOn(story, tableOf(ruleCalled('atls-ongoing')));
    expect(not_assessable).toMatchObject([
      { reason: 'not-covered', now: true, seen: { first_at: at('12:00'), last_at: at('12:00'), times: 1 } },
    ]);
  });

  it('a gap: an hour that is surely below decides all the same', () => {
    const story = [...hourly([10], TRAUMA), level('b', '12:00', 20), level('c', '13:00', 30)];
    const { not_assessable } = adviceOn(story, tableOf(ruleCalled('atls-ongoing')));
    expect(not_assessable).toMatchObject([{ now: false, seen: { last_at: at('12:00') } }]);
  });

  it('a gap: what is known to have drained crosses by itself', () => {
    const story = [placed('08:00', { ...PATIENT, ...TRAUMA }), setUp('08:40', 0), level('a', '09:00', 1600)];
    expect(episodesIn(story, 'atls-at-once')).toMatchObject([{ raised: { at_least: true, crossed: true } }]);
    const less = [...story.slice(0, 2), level('a', '09:00', 1500)];
    expect(reasonsIn(less, 'atls-at-once')).toEqual(['not-covered']);
  });

  it('a gap in an episode neither ends nor renews it', () => {
    const story = [...hourly([210, 220], TRAUMA), level('b', '15:00', 500), level('c', '15:30', 505)];
    expect(episodesIn(story, 'atls-ongoing')).toMatchObject([
      { raised: { at_text: at('10:00') }, newest: { at_text: at('10:00') }, ended_at: null },
    ]);
  });

  it('hours that have not passed since the tube went in are not hours of drainage', () => {
    expect(adviceOn(hourly([500], TRAUMA), tableOf(ruleCalled('atls-ongoing')))).toMatchObject({
      episodes: [],
      not_assessable: [],
    });
  });

  it('nor is a part of an hour one of several: 250 and 250 mL in one hour and a half', () => {
    const story = [
      placed('08:00', { ...PATIENT, ...TRAUMA }),
      setUp('08:00', 0),
      level('a', '08:30', 250),
      level('b', '09:30', 500),
    ];
    expect(episodesIn(story, 'atls-ongoing')).toEqual([]);
  });

  it.each([
    ['christensen-2h', HEART, 'no-weight'],
    ['michelson-hour-1', { indication: 'cardiac-surgery' }, 'chest-closure-not-stated'],
    ['michelson-hour-1', { ...HEART, population: undefined }, 'population-not-stated'],
    ['michelson-hour-1', { ...HEART, indication: undefined }, 'indication-not-stated'],
    ['aci-nsw-blood', HEART, 'fluid-character-not-charted'],
  ] as const)('%s of %o: %s', (rule, facts, reason) => {
    const story = hourly([400, 400], facts);
    expect(reasonsIn(story, rule)).toEqual([reason]);
    expect(episodesIn(story, rule)).toEqual([]);
  });

  it('a weight that is too old is none', () => {
    const story = hourly([150, 150], HEART, [weighed('old', '2026-02-21T08:00:00Z', 70)]);
    expect(reasonsIn(story, 'christensen-2h')).toEqual(['weight-too-old']);
  });
});

describe('an indication', () => {
  it('that is not stated with every drain may be that of the rule', () => {
    const story = (other: object) => [
      ...asDrain('left', hourly([400], { ...HEART, ...TRAUMA })),
      ...asDrain('right', hourly([400], { ...HEART, ...other })),
    ];
    expect(reasonsIn(story({ indication: undefined }), 'michelson-hour-1')).toEqual([
      'indication-not-stated',
    ]);
    expect(reasonsIn(story(TRAUMA), 'michelson-hour-1')).toEqual([]);
  });
});

describe('gates', () => {
  const idsFor = (facts: object) => {
    const { episodes, not_assessable } = adviceOn(
      hourly([900, 900, 900, 900], facts, [weighed('w', '08:00', 10)]),
    );
    return [...new Set([...episodes, ...not_assessable].map(({ rule }) => rule.id))];
  };

  it('adult rules never run on a child, nor the reverse', () => {
    const adult = idsFor(HEART);
    const child = idsFor({ ...HEART, population: 'paediatric' });
    expect(adult).toContain('michelson-hour-1');
    expect(adult.filter((id) => /wong|agarwal|bercovitz/.test(id))).toEqual([]);
    expect(child).toEqual([
      'wong-consecutive',
      'wong-1h',
      'agarwal-1h',
      'agarwal-3h',
      'bercovitz-2h',
      'bercovitz-24h',
    ]);
  });

  it('a rule for trauma does not run after heart surgery, nor one for the pleura elsewhere', () => {
    expect(idsFor(HEART)).not.toContain('atls-at-once');
    expect(idsFor({ ...TRAUMA, site: 'mediastinal' })).toEqual([]);
  });

  it('a rule on blood runs on blood only (ACI NSW: > 100 mL of blood in 1-2 h)', () => {
    const fluid = (character: 'serous' | 'sanguineous', ml: number) => [
      placed('08:00', PATIENT),
      setUp('08:00', 0),
      reading('a', '10:00', { level_ml: dec(ml), fluid_character: character }),
    ];
    expect(crossedIn(fluid('sanguineous', 110), 'aci-nsw-blood')).toBe(true);
    expect(crossedIn(fluid('sanguineous', 100), 'aci-nsw-blood')).toBe(false);
    expect(crossedIn(fluid('sanguineous', 90), 'aci-nsw-blood')).toBeNull();
    expect(crossedIn(fluid('serous', 500), 'aci-nsw-blood')).toBeNull();
    expect(reasonsIn(fluid('serous', 500), 'aci-nsw-blood')).toEqual([]);
  });

  it('a rule for anybody runs where it is not stated whether the patient is a child', () => {
    const row = { ...ruleCalled('atls-at-once'), id: 'anybody', populations: null };
    const story = hourly([1600], { ...TRAUMA, population: undefined });
    expect(crossedIn(story, 'atls-at-once')).toBeNull();
    expect(episodesIn(story, 'anybody', tableOf(row))).toHaveLength(1);
  });

  it('a rule on blood runs where any of the tubes drains blood', () => {
    const row = { ...ruleCalled('aci-nsw-blood'), id: 'blood', basis: 'all-tubes' } as const;
    const fluid = (drain: string, fluid_character: 'serous' | 'sanguineous') =>
      asDrain(drain, [
        placed('08:00', PATIENT),
        setUp('08:00', 0),
        reading('a', '10:00', { level_ml: dec(110), fluid_character }),
      ]);
    const found = (story: Parameters<typeof episodesIn>[0]) => episodesIn(story, 'blood', tableOf(row));
    expect(found([...fluid('left', 'serous'), ...fluid('right', 'sanguineous')])).toHaveLength(1);
    expect(found([...fluid('left', 'serous'), ...fluid('right', 'serous')])).toEqual([]);
  });

  it('a rule on blood goes by what was charted up to the level, not later', () => {
    const story = [
      placed('08:00', PATIENT),
      setUp('08:00', 0),
      reading('a', '10:00', { level_ml: dec(200), fluid_character: 'sanguineous' }),
      reading('b', '10:30', { fluid_character: 'serous' }),
    ];
    expect(crossedIn(story, 'aci-nsw-blood')).toBe(true);
  });

  it('a row that is off finds nothing and is not listed', () => {
    const rule = { ...ruleCalled('michelson-hour-1'), on: false };
    expect(adviceOn(hourly([900], HEART), tableOf(rule))).toMatchObject({ episodes: [], not_assessable: [] });
  });
});
