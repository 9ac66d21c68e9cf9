/** An advisory as the record gets it. Volumes are invented, thresholds those of the rule table. */
import { describe, expect, it } from 'vitest';
import type { Fact } from '../../../src/domain/vocabulary/fact.ts';
import { hourly, ruleCalled, tableOf } from '../../support/advice.ts';
import {
  at,
  changed,
  dec,
  instilled,
  level,
  onDrain,
  placed,
  reading,
  says,
  setUp,
  type Told,
  tell,
  weighed,
} from '../../support/drain-script.ts';
import { policyOf } from '../../support/policy.ts';

const HEART = {
  patient: { reference: 'Patient/1' },
  encounter: { reference: 'Encounter/1' },
  indication: 'cardiac-surgery',
  chest_closed_at: at('08:00'),
};
const TRAUMA = { patient: { reference: 'Patient/1' }, indication: 'trauma' };

/** The advisories of one rule as they were issued last, in the order in which they were first. */
function advisoriesOf(rule: string, story: readonly Told[]): readonly Fact[] {
  const policy = { ...policyOf(tableOf(ruleCalled(rule))), nameOf: (text: string) => text };
  const newest = new Map<string, Fact>();
  for (const { changes } of tell(story, new Map(), policy).accepted)
    for (const { issued } of changes)
      for (const { fact, key } of issued) if (fact.name === 'advisory') newest.set(key, fact);
  return [...newest.values()];
}
const flagsOf = (rule: string, story: readonly Told[]) => advisoriesOf(rule, story).map(({ flags }) => flags);

/** An hour on marks of 5 mL: U = 2 √(2 × 25/12) = 4.08 mL (JCGM 100:2008, 4.3.7). */
const hour = (ml: number, ...more: readonly Told[]): Told[] => [
  ...[placed('08:00', HEART), setUp('08:00', 0), ...more],
  level('a', '09:00', ml),
];

describe('an advisory as a fact', () => {
  const RULE = 'michelson-hour-1';

  it('says what was found, beside which threshold, on what it rests, and that it is for review', () => {
    const [found, ...others] = advisoriesOf(RULE, hour(340, instilled('in', '08:20', 10)));
    expect(others).toEqual([]);
    expect(found).toMatchObject({
      effective: { from: at('09:00') },
      open: true,
      value: { rule: RULE, title: ruleCalled(RULE).title },
      flags: [],
      derived_from: [{ name: 'net-drainage', anchor: 'a', drain: 'd1' }],
      author: null,
      encounter: { reference: 'Encounter/1' },
    });
    expect(found?.components).toEqual([
      { name: 'rule-value', quantity: '340', unit: 'mL' },
      { name: 'rule-threshold', quantity: '300', unit: 'mL' },
      { name: 'rule-net', quantity: '330', unit: 'mL' },
      { name: 'rule-uncertainty', quantity: '4.1', unit: 'mL' },
      { name: 'instilled', quantity: '10' },
    ]);
    expect(found?.note).toMatch(/^For review by a clinician \(> 300 mL\); not an alarm\. Source: /);
  });

  it('has an end once a level shows that it no longer holds', () => {
    const [found] = advisoriesOf(RULE, [...hour(340), level('b', '10:00', 345)]);
    expect(found?.effective).toEqual({ from: at('09:00'), to: at('10:00') });
    expect(found).not.toHaveProperty('open');
  });

  it('says by which weight it was found', () => {
    const story = hourly([150, 150], HEART, [weighed('w', '08:00', 70.5)]);
    expect(advisoriesOf('christensen-2h', story)[0]?.components.at(-1)).toEqual({
      name: 'weight-used',
      quantity: '70.5',
    });
  });

  it('shows no number where the rule has none, and rests on the level that fell', () => {
    const story = [...hour(340), level('b', '10:00', 100), changed('u', '11:00', 120, 0)];
    const [found] = advisoriesOf('unexplained-fall', story);
    expect(found).toMatchObject({
      components: [],
      derived_from: [{ name: 'net-drainage', anchor: 'b', drain: 'd1' }],
    });
    expect(found?.note).toMatch(/^For review by a clinician; not an alarm\./);
  });

  it('rests on the reading that shows it, whatever else was charted at that time', () => {
    const pulled = { suction: { source: 'on', column_cmh2o: dec(22), bubbling: 'gentle' } } as const;
    const [found, ...others] = advisoriesOf('high-negativity', [
      ...[placed('08:00'), setUp('08:00', 0), weighed('0', '09:00', 70)],
      reading('a', '09:00', { ...pulled, seal: { level_cmh2o: dec(0) } }),
    ]);
    expect(others).toEqual([]);
    expect(found?.derived_from).toEqual([{ name: 'reading', anchor: 'a' }]);
    expect(found?.note).toMatch(/^For review by a clinician \(> 20 cm\[H2O\]\); not an alarm\./);
  });

  it('rests on the newest level of each tube of the patient up to its time, by name of the tube', () => {
    const [found] = advisoriesOf(RULE, [
      ...[onDrain('d2', placed('08:00', HEART)), onDrain('d2', setUp('08:00', 0))],
      ...[placed('08:00', HEART), setUp('08:00', 0)],
      ...[onDrain('d2', level('b', '09:00', 200)), level('a', '09:00', 200), level('c', '09:30', 205)],
    ]);
    expect(found?.effective).toEqual({ from: at('09:00') });
    expect(found?.derived_from).toEqual([
      { name: 'net-drainage', anchor: 'a', drain: 'd1' },
      { name: 'net-drainage', anchor: 'b', drain: 'd2' },
    ]);
  });

  it('rests on nothing of a tube that has no level yet', () => {
    const [found] = advisoriesOf(RULE, [
      ...hour(340),
      ...[onDrain('d2', placed('09:00', HEART)), onDrain('d2', setUp('09:00', 0))],
    ]);
    expect(found?.derived_from).toEqual([{ name: 'net-drainage', anchor: 'a', drain: 'd1' }]);
  });

  it('has the encounter of its time', () => {
    const moved = says('e', '08:30', 'drain-updated', { encounter: { reference: 'Encounter/2' } });
    const later = says('f', '10:00', 'drain-updated', { encounter: { reference: 'Encounter/3' } });
    expect(advisoriesOf(RULE, [...hour(340), moved, later])[0]?.encounter).toEqual({
      reference: 'Encounter/2',
    });
  });
});

describe('what an advisory is marked with', () => {
  const RULE = 'michelson-hour-1';

  it.each<[string, readonly Told[], readonly string[]]>([
    ['nothing where it is sure', hour(340), []],
    ['that reading error leaves it open', hour(303), ['within-uncertainty']],
    [
      'that net drainage alone does not cross',
      hour(340, instilled('in', '08:20', 60)),
      ['drained-and-sampled-only'],
    ],
  ])('%s', (_, story, flags) => {
    expect(flagsOf(RULE, story)).toEqual([flags]);
  });

  it('that it is a lower bound', () => {
    const late = [placed('08:00', TRAUMA), setUp('08:40', 0), level('a', '09:00', 1600)];
    expect(flagsOf('atls-at-once', late)).toEqual([['lower-bound']]);
  });

  it('that a person has seen it', () => {
    const [found] = advisoriesOf(RULE, hour(340));
    const advisory = `${RULE}.patient\nPatient/1.20260301T090000Z`;
    const seen = says('seen', '09:30', 'reviewed', { advisory, words: 'seen' });
    expect(found?.flags).toEqual([]);
    expect(flagsOf(RULE, [...hour(340), seen])).toEqual([['reviewed']]);
  });
});
