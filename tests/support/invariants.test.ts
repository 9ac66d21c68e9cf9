import { expect, test } from 'vitest';
import { brokenInvariants } from './invariants.ts';

const code = { coding: [{ system: 'urn:example:code', code: 'x' }] };
const good = {
  resourceType: 'Observation',
  status: 'final',
  category: [{ coding: [{ code: 'exam' }] }],
  code,
  subject: { reference: 'Patient/1' },
  effectiveDateTime: '2026-03-01T08:00:00Z',
  valueQuantity: { value: 1, system: 'http://unitsofmeasure.org', code: 'mL' },
};
const { valueQuantity: _value, ...bare } = good;

test.each([
  ['none', good, []],
  ['a value and a reason for none', { ...good, dataAbsentReason: code }, ['obs-6']],
  [
    'a component of the same code beside a value',
    { ...good, component: [{ code, valueString: 'x' }] },
    ['obs-7'],
  ],
  ['a range of nothing', { ...good, referenceRange: [{ age: { low: { value: 1 } } }] }, ['obs-3']],
  ['a year for a time', { ...good, effectiveDateTime: '2026' }, ['us-core-1']],
  ['nothing said at all', bare, ['us-core-2']],
  ['members in place of a value', { ...bare, hasMember: [{ reference: 'Observation/1' }] }, []],
  [
    'another system of units',
    { ...good, valueQuantity: { value: 1, system: 'urn:x', code: 'mL' } },
    ['us-core-3'],
  ],
  ['no subject', { ...good, subject: undefined }, ['us-core-subject']],
] as const)('%s breaks %j', (_name, resource, broken) => {
  expect(brokenInvariants(JSON.parse(JSON.stringify(resource)))).toEqual(broken);
});
