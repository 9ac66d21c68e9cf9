/** What the drains of one patient drained together, and which drains those are. */
import { describe, expect, it } from 'vitest';
import {
  adviceOn,
  asDrain,
  episodesIn,
  HEART,
  hourly,
  PATIENT,
  raisedValue,
  ruleCalled,
  TRAUMA,
  tableOf,
} from '../../support/advice.ts';
import { at, instilled, level, placed, says, setUp, type Told } from '../../support/drain-script.ts';

const ALL_TUBES = tableOf({
  ...ruleCalled('atls-ongoing'),
  id: 'all-200',
  basis: 'all-tubes',
  sites: null,
});

describe('all tubes of a patient', () => {
  const left = hourly([110, 110], TRAUMA);
  const right = hourly([110, 110], { ...TRAUMA, site: 'pleural-right' });
  const both = [...asDrain('left', left), ...asDrain('right', right)];

  it('are summed for a rule on all tubes: 110 mL/h each is 220 mL/h, above 200', () => {
    const [found, ...others] = adviceOn(both, ALL_TUBES).episodes;
    expect(others).toEqual([]);
    expect(found).toMatchObject({
      id: 'all-200.p1.20260301T100000Z',
      drains: ['left', 'right'],
      raised: { crossed: true, at_text: at('10:00') },
    });
    expect(found === undefined ? null : raisedValue(found)).toBe(220);
  });

  it('are not summed for a rule on one tube', () => {
    expect(adviceOn(both, tableOf(ruleCalled('atls-ongoing'))).episodes).toEqual([]);
  });

  it('are summed at the last time that all of them have closed', () => {
    const late = both.filter(({ key }) => key !== 'right-h2');
    expect(adviceOn(late, ALL_TUBES)).toMatchObject({ episodes: [], not_assessable: [] });
    expect(adviceOn([...late, ...both.slice(-1)], ALL_TUBES).episodes).toHaveLength(1);
  });

  it('may be more than are known where no patient is linked: then a sum below proves nothing', () => {
    const unlinked = hourly([110, 110], { ...TRAUMA, patient: undefined });
    expect(adviceOn(unlinked, ALL_TUBES).not_assessable).toMatchObject([{ reason: 'patient-not-linked' }]);
    const bleeding = hourly([210, 220], { ...TRAUMA, patient: undefined });
    expect(adviceOn(bleeding, ALL_TUBES).episodes).toMatchObject([{ raised: { at_least: true } }]);
  });

  it('have drained for as long as the first of them is in', () => {
    const later = [
      placed('09:30', { ...PATIENT, ...TRAUMA, site: 'pleural-right' }),
      setUp('09:30', 0),
      level('a', '10:00', 5),
    ];
    const story = [...asDrain('left', hourly([210, 220], TRAUMA)), ...asDrain('right', later)];
    expect(adviceOn(story, ALL_TUBES).episodes).toMatchObject([{ raised: { at_text: at('10:00') } }]);
  });

  it('are told by time, whatever their levels are called and however late they are charted', () => {
    const read = (drain: string, site: string) =>
      asDrain(drain, [
        placed('08:00', { ...PATIENT, ...TRAUMA, site }),
        setUp('08:00', 0),
        level('x', '11:00', 225),
        level('y', '10:00', 220),
        level('z', '09:00', 110),
      ]);
    const story = [...read('left', 'pleural-left'), ...read('right', 'pleural-right')];
    expect(adviceOn(story, ALL_TUBES).episodes).toMatchObject([
      { raised: { at_text: at('10:00') }, ended_at: at('11:00') },
    ]);
  });

  it('that were out before another went in are another stay', () => {
    const first = [...asDrain('left', left), ...asDrain('left', [says('out', '10:30', 'removed', {})])];
    const bleeding = hourly([210, 220], { ...TRAUMA, site: 'pleural-right' });
    const again = asDrain('right', bleeding).map((told) => ({ ...told, time: `+1 ${told.time.slice(-5)}` }));
    expect(adviceOn([...first, ...again], ALL_TUBES).episodes).toMatchObject([{ drains: ['right'] }]);
  });

  it('are read each by itself: of two scales of 5 mL U is 4.08 x sqrt 2 = 5.77 mL (JCGM 100:2008, 5.1.2)', () => {
    const read = (drain: string) =>
      asDrain(drain, [
        placed('08:00', { ...PATIENT, ...HEART }),
        setUp('08:00', 0),
        level('h1', '09:00', 200),
      ]);
    const [found] = episodesIn([...read('left'), ...read('right')], 'michelson-hour-1');
    expect(found === undefined ? null : raisedValue(found)).toBe(400);
    expect(found?.raised.uncertainty).toBeCloseTo(2 * Math.sqrt((2 * 2 * 25) / 12), 6);
  });

  it('closed at one instant under two offsets: it is shown in one way, whichever drain is placed first', () => {
    const east = (told: Told): Told =>
      told.key.endsWith('h2') ? { ...told, time: '2026-03-01T11:00:00+01:00' } : told;
    const shown = (story: readonly Told[]) =>
      adviceOn(story, ALL_TUBES).episodes.map((each) => each.raised.at_text);
    const swapped = [...asDrain('a', left), ...asDrain('b', right.map(east))];
    expect(shown(swapped)).toEqual(['2026-03-01T11:00:00+01:00']);
    const earlier = [
      placed('07:50', { ...PATIENT, ...TRAUMA, site: 'pleural-right' }),
      ...right.slice(1).map(east),
    ];
    expect(shown([...asDrain('a', left), ...asDrain('b', earlier)])).toEqual(['2026-03-01T11:00:00+01:00']);
  });
});

describe('entries behind a sum', () => {
  it('are what went in or out from its start up to, not with, its end: that belongs to what follows', () => {
    const flushes = ['08:00', '09:00'].map((time) => instilled(`flush-${time}`, time, 5));
    const [found] = episodesIn(hourly([320, 10], HEART, flushes), 'michelson-hour-1');
    expect(found?.raised).toMatchObject({
      instilled: 5000,
      window: { from: Date.parse(at('08:00')), to: Date.parse(at('09:00')) },
      entries: ['flush-08:00', 'h1', 'set-up'],
    });
  });
});
