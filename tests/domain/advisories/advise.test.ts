/** What rules find in stories of one patient: sums, numbers, episodes. */
import { describe, expect, it } from 'vitest';
import {
  adviceOn,
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
import {
  at,
  corrected,
  dec,
  level,
  placed,
  says,
  setUp,
  type Told,
  voided,
} from '../../support/drain-script.ts';

describe('numbers', () => {
  it('add up unrounded: 96 intervals of 0.04 mL are 3.84 mL', () => {
    const quarter = (n: number): Told =>
      level(`q${n}`, `+${Math.floor((8 * 4 + n) / 96)} ${clock(8 * 4 + n)}`, ((n * 4) / 100).toFixed(2));
    const story = [
      placed('08:00', PATIENT),
      setUp('08:00', 0),
      ...Array.from({ length: 96 }, (_, n) => quarter(n + 1)),
    ];
    const rule = (threshold: string, operator: '>' | '>=') =>
      tableOf({ ...ruleCalled('east-24h'), id: 'small', threshold: dec(threshold), operator });
    expect(episodesIn(story, 'small', rule('3.84', '>=')).at(-1)?.peak.crossed).toBe(true);
    expect(episodesIn(story, 'small', rule('3.84', '>')).at(-1)?.peak.crossed).toBe(false);
    expect(adviceOn(story, tableOf(ruleCalled('east-24h')))).toMatchObject({
      episodes: [],
      not_assessable: [],
    });
  });

  it('closer to the threshold than reading error are raised and marked so, either way', () => {
    // Marks of 5 mL: U = 2 x sqrt(2 x 25 / 12) = 4.08 mL (JCGM 100:2008).
    const read = (ml: number) => [
      placed('08:00', { ...PATIENT, ...HEART }),
      setUp('08:00', 0),
      level('h1', '09:00', ml),
    ];
    const found = (ml: number) => episodesIn(read(ml), 'michelson-hour-1')[0]?.raised;
    expect(found(295)).toBeUndefined();
    expect(found(298)).toMatchObject({ crossed: false, within_uncertainty: true });
    expect(found(303)).toMatchObject({ crossed: true, within_uncertainty: true });
    expect(found(305)).toMatchObject({ crossed: true, within_uncertainty: false });
    expect(found(305)?.uncertainty).toBeCloseTo(4.082, 3);
  });

  it('of one hour are crossed by the part of it that has passed: 420 mL in half an hour, above 400 mL/h', () => {
    const half = [...hourly([], HEART), level('a', '08:30', 420)];
    expect(episodesIn(half, 'bojar-1h')).toMatchObject([
      { raised: { at_text: at('08:30'), window: { from: Date.parse(at('08:00')) } } },
    ]);
    expect(episodesIn(half, 'bojar-1h').map(raisedValue)).toEqual([420]);
  });

  it('of several hours are crossed only if every hour is: 200 and 300 mL/h, above 200', () => {
    expect(episodesIn(hourly([300, 200], TRAUMA), 'atls-ongoing')).toMatchObject([
      { raised: { crossed: false, within_uncertainty: true } },
    ]);
  });

  it('without graduations are never said to be surely below', () => {
    const story = [
      placed('08:00', { ...PATIENT, ...HEART }),
      level('h0', '08:00', 0),
      level('h1', '09:00', 250),
    ];
    expect(reasonsIn(story, 'michelson-hour-1')).toEqual(['uncertainty-not-known']);
    const over = [...story.slice(0, 2), level('h1', '09:00', 350)];
    expect(episodesIn(over, 'michelson-hour-1')).toMatchObject([
      { raised: { crossed: true, within_uncertainty: true, uncertainty: null } },
    ]);
  });
});

const clock = (quarters: number): string =>
  `${String(Math.floor(quarters / 4) % 24).padStart(2, '0')}:${String((quarters % 4) * 15).padStart(2, '0')}`;

describe('episodes', () => {
  const ID = 'michelson-hour-1.p1.20260301T090000Z';
  const seen = says('review', '09:30', 'reviewed', { advisory: ID, words: 'seen, ward round' });
  const story = [...hourly([320], HEART), seen];

  it('say who has seen them, when and with which words', () => {
    expect(episodesIn(story, 'michelson-hour-1')).toMatchObject([
      {
        id: ID,
        reviews: [
          {
            words: 'seen, ward round',
            author: { reference: 'Practitioner/n1' },
            at_text: at('09:30'),
            entry: 'review',
          },
        ],
      },
    ]);
    expect(adviceOn(story).reviews_of_none).toEqual([]);
  });

  it('that a correction removes are gone, and their reviews are told', () => {
    const misread = [...story, corrected('fix', 'h1', level('h1', '09:00', 230))];
    expect(episodesIn(misread, 'michelson-hour-1')).toEqual([]);
    expect(adviceOn(misread).reviews_of_none).toMatchObject([{ advisory: ID, words: 'seen, ward round' }]);
    expect(adviceOn([...story, voided('no', 'h1')]).reviews_of_none).toHaveLength(1);
  });

  it('end at the first level that is surely below, and begin anew', () => {
    const found = episodesIn(hourly([10, 10, 160, 160, 20, 170], HEART), 'michelson-later');
    expect(found).toMatchObject([
      { raised: { at_text: at('11:00') }, newest: { at_text: at('12:00') }, ended_at: at('13:00') },
      { raised: { at_text: at('14:00') }, ended_at: null },
    ]);
  });

  it('do not begin after the stretch (Christensen 2012: within the first 6 h)', () => {
    expect(episodesIn(hourly([10, 10, 10, 10, 10, 250], HEART), 'christensen-1h')).toHaveLength(1);
    expect(episodesIn(hourly([10, 10, 10, 10, 10, 10, 250], HEART), 'christensen-1h')).toEqual([]);
  });

  it('of a stretch take nothing from before it: 290 mL in hour 1 are not of hour 2', () => {
    const story = [...hourly([290], HEART), level('b', '09:10', 320), level('c', '10:10', 400)];
    expect(episodesIn(story, 'michelson-hour-2')).toEqual([]);
    const more = [...story.slice(0, -1), level('c', '10:10', 660)];
    // 30 mL by 09:10, then 340 in the hour to 10:10, of which 50 of 60 minutes: 30 + 283.3.
    const [found] = episodesIn(more, 'michelson-hour-2');
    expect(found === undefined ? null : raisedValue(found)).toBeCloseTo(313.333, 3);
  });

  it('of a stretch end at the first level after it', () => {
    expect(episodesIn(hourly([320, 10], HEART), 'michelson-hour-1')).toMatchObject([
      { ended_at: at('10:00') },
    ]);
  });

  it('end when the drain is out', () => {
    const out = [...story, says('out', '09:45', 'removed', {})];
    expect(episodesIn(out, 'michelson-hour-1')).toMatchObject([{ ended_at: at('09:45') }]);
  });

  it('do not depend on the order in which entries come', () => {
    const [first, ...rest] = story;
    if (first === undefined) throw new Error('no story');
    expect(adviceOn([first, ...rest.reverse()])).toEqual(adviceOn(story));
  });
});
