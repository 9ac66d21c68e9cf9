/** From when a change of what holds for the whole drain bears on its rows. */
import { describe, expect, it } from 'vitest';
import type { Circumstances } from '../../../src/domain/fold/circumstances.ts';
import { changedSince, circumstancesOf } from '../../../src/domain/fold/drain.ts';
import type { Weight } from '../../../src/domain/fold/weight.ts';
import { epochMs, grams, HOUR_MS } from '../../../src/domain/numbers/units.ts';
import { DEFAULT_SETTINGS } from '../../../src/domain/vocabulary/settings.ts';
import {
  bookOf,
  corrected,
  level,
  onDrain,
  placed,
  reopened,
  rowsIn,
  says,
  setUp,
  type Told,
  tell,
  voided,
  weighed,
} from '../../support/drain-script.ts';

const hour = (h: number) => epochMs(h * HOUR_MS);
const weight = (id: string, at: number, kg = 70): Weight => ({
  ...{ id, at: hour(at), drain: 'd1', weight: grams(kg * 1000) },
  identifier: { system: 's', value: id },
});
const KNOWN: Circumstances = {
  placedAt: hour(8),
  removedAt: null,
  population: 'adult',
  weights: [],
  settings: DEFAULT_SETTINGS,
};

describe('a change of circumstances bears on the rows', () => {
  const [a, b] = [weight('a', 9), weight('b', 11)];

  it.each<[string, Partial<Circumstances>, Partial<Circumstances>, number | undefined]>([
    ['of nothing while it is the same', { weights: [a, b] }, { weights: [{ ...a }, { ...b }] }, undefined],
    ['of all where the population is another', {}, { population: 'paediatric' }, -Infinity],
    ['of all where it is not stated any more', {}, { population: undefined }, -Infinity],
    ['of all once it is placed', { placedAt: null }, {}, -Infinity],
    ['of all once its placement is withdrawn', {}, { placedAt: null }, -Infinity],
    ['from the new placement where that is earlier', {}, { placedAt: hour(7) }, hour(7)],
    ['from the old one where that is', { placedAt: hour(7) }, {}, hour(7)],
    ['from its removal', {}, { removedAt: hour(12) }, hour(12)],
    ['from a removal that is withdrawn', { removedAt: hour(12) }, {}, hour(12)],
    ['from the earlier of two removals', { removedAt: hour(12) }, { removedAt: hour(10) }, hour(10)],
    ['and the other way round', { removedAt: hour(10) }, { removedAt: hour(12) }, hour(10)],
    ['from a weight that is new', { weights: [a] }, { weights: [a, b] }, hour(11)],
    ['from one that is gone', { weights: [a, b] }, { weights: [a] }, hour(11)],
    ['from one that is gone before another', { weights: [a, b] }, { weights: [b] }, hour(9)],
    ['from one that is new before another', { weights: [b] }, { weights: [a, b] }, hour(9)],
    ['from the first', {}, { weights: [a] }, hour(9)],
    ['from one of another value', { weights: [a, b] }, { weights: [a, weight('b', 11, 71)] }, hour(11)],
    ['from one of another name', { weights: [a] }, { weights: [weight('c', 9)] }, hour(9)],
    ['from one that moved, by the earlier time', { weights: [a] }, { weights: [weight('a', 10)] }, hour(9)],
    ['and back', { weights: [weight('a', 10)] }, { weights: [a] }, hour(9)],
    ['from the earliest of all', {}, { removedAt: hour(12), weights: [b] }, hour(11)],
  ])('%s', (_, before, after, since) => {
    expect(changedSince({ ...KNOWN, ...before }, { ...KNOWN, ...after })).toBe(since);
  });
});

describe('the weights of a patient', () => {
  it('stand in order of time, then of their identifiers, whichever drain they were charted with', () => {
    const { view } = bookOf([placed()]);
    const sorted = (...weights: Weight[]) =>
      circumstancesOf(view, weights, DEFAULT_SETTINGS).weights.map(({ id }) => id);
    const [early, a, b] = [weight('z', 8), weight('a', 9), weight('b', 9)];
    expect(sorted(b, a, early)).toEqual(['z', 'a', 'b']);
    expect(sorted(early, a, b)).toEqual(['z', 'a', 'b']);
    expect(sorted(a, early, b)).toEqual(['z', 'a', 'b']);
  });
});

describe('rows are those of a ledger opened anew, after', () => {
  const patient = { patient: { reference: 'Patient/1' } };
  const READ: readonly Told[] = [
    placed('08:00', patient),
    setUp('08:00', 0),
    level('a', '09:00', 50),
    level('b', '10:00', 80),
    level('c', '11:00', 90),
  ];
  const removed = says('out', '10:30', 'removed', {});
  const other = onDrain('d2', { ...placed('08:00', patient), key: 'placed-2' });

  it.each<[string, readonly Told[]]>([
    ['a late placement', [...READ.slice(1), placed('08:30', patient)]],
    ['a placement that is corrected', [...READ, corrected('p', 'placed', placed('09:30', patient))]],
    ['a placement that is withdrawn', [...READ, voided('v', 'placed')]],
    ['a late removal', [...READ, removed]],
    ['a removal that is corrected', [...READ, removed, corrected('o', 'out', { ...removed, time: '09:30' })]],
    ['a removal that is withdrawn', [...READ, removed, voided('v', 'out')]],
    ['a late weight', [...READ, weighed('w', '08:00', 70)]],
    [
      'a weight that is corrected',
      [...READ, weighed('w', '08:00', 70), corrected('x', 'w', weighed('', '09:30', 7))],
    ],
    ['a weight that is withdrawn', [...READ, weighed('w', '08:00', 70), voided('v', 'w')]],
    ['a weight on another drain', [...READ, other, onDrain('d2', weighed('w', '09:00', 70))]],
    [
      'another population',
      [...READ, weighed('w', '08:00', 70), says('u', '12:00', 'drain-updated', { population: 'paediatric' })],
    ],
  ])('%s', (_, story) => {
    const { subject, accepted } = tell(story);
    expect(rowsIn(subject)).toEqual(rowsIn(reopened(accepted)));
  });
});
