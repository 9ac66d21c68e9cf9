import { expect, test } from 'vitest';
import { currentTexts, differences } from '../../src/demo/compare.ts';

const observation = (id: string, rest: string): string =>
  `{"resourceType":"Observation","id":"${id}",${rest}}`;
const one = observation('net-drainage.d.a', '"value":65');
const two = observation('level.d.a', '"value":205');
const issued = new Map([
  ['Observation/net-drainage.d.a', one],
  ['Observation/level.d.a', two],
]);

test('the same on both sides shows no difference', () => {
  expect(differences(issued, new Map(issued), 'the ledger')).toEqual([]);
});

test('a missing, an extra and a stale Observation each show', () => {
  const held = new Map([
    ['Observation/net-drainage.d.a', observation('net-drainage.d.a', '"value":110')],
    ['Observation/level.d.z', observation('level.d.z', '"value":1')],
  ]);
  expect(differences(issued, held, 'the ledger')).toEqual([
    'not the version that the ledger holds: Observation/net-drainage.d.a',
    'missing at the EHR: Observation/level.d.a',
    'at the EHR, but not in the ledger: Observation/level.d.z',
  ]);
});

test('digits count: 65 is not 65.0', () => {
  const held = new Map(issued).set('Observation/net-drainage.d.a', one.replace('65', '65.0'));
  expect(differences(issued, held, 'the ledger')).toHaveLength(1);
});

test('of several texts of one id the last is the current one', () => {
  const first = observation('net-drainage.d.a', '"value":110');
  expect(currentTexts([first, two, one])).toEqual(issued);
});

test('a text that is no resource is not passed over', () => {
  expect(() => currentTexts(['{"id":"p"}'])).toThrow('no resource');
});
