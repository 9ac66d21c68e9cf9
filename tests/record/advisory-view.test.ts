/** How a finding is written: rounded once, with enough digits to show the crossing. */
import { describe, expect, it } from 'vitest';
import { advise } from '../../src/domain/book/advise.ts';
import { advisoriesViewOf } from '../../src/record/advisory-view.ts';
import { FINE_UNIT, ruleCalled, tableOf } from '../support/advice.ts';
import { at, level, placed, setUp, type Told, tell } from '../support/drain-script.ts';
import { policyOf } from '../support/policy.ts';

const TABLE = tableOf(ruleCalled('michelson-hour-1'));
const FACTS = {
  patient: { reference: 'Patient/1' },
  indication: 'cardiac-surgery',
  chest_closed_at: at('08:00'),
};

/** 150 mL by 08:30, then a level at 09:03: 30 of its 33 minutes are in hour 1. */
const story = (second: string): Told[] => [
  placed('08:00', FACTS),
  setUp('08:00', 0, FINE_UNIT),
  level('a', '08:30', 150),
  level('b', '09:03', second),
];

const raisedIn = (told: readonly Told[]) => {
  const policy = policyOf(TABLE);
  const { subject } = tell(told, new Map(), policy);
  const book = subject.get('d1');
  if (book === undefined) throw new Error('no drain');
  const advised = advise([...subject.values()], policy.rules);
  return advisoriesViewOf(book, advised, TABLE, () => true).advisories[0]?.raised;
};

describe('a value', () => {
  it('that one decimal would round onto the threshold is written with more: 150 + 165.04 x 30 / 33', () => {
    expect(raisedIn(story('315.04'))).toMatchObject({ value: 300.04, crossed: true });
  });

  it('is otherwise rounded to one: 150 + 170 x 30 / 33 = 304.54...', () => {
    expect(raisedIn(story('320'))).toMatchObject({ value: 304.5, net: 304.5 });
  });

  it('of whole thousandths is written as it is', () => {
    expect(raisedIn([...story('0').slice(0, 3), level('b', '09:00', '310.125')])?.value).toBe(310.125);
  });

  it('names its window in the offset of its level', () => {
    const told = [...story('0').slice(0, 3), level('b', '2026-03-01T10:00:00+01:00', 320)];
    expect(raisedIn(told)).toMatchObject({
      at: '2026-03-01T10:00:00+01:00',
      window: { from: '2026-03-01T09:00:00+01:00', to: '2026-03-01T10:00:00+01:00' },
    });
  });
});
