import { describe, expect, test } from 'vitest';
import { convertUcum, problemsOf } from './r4.ts';

const ucum = 'http://unitsofmeasure.org';
const observation = {
  resourceType: 'Observation',
  id: 'drainage-1',
  status: 'final',
  code: { coding: [{ system: 'https://example.org/codes', code: 'drainage' }], text: 'Drainage' },
  subject: { reference: 'Patient/invented' },
  effectiveDateTime: '2025-03-01T08:00:00+01:00',
  valueQuantity: { value: 120.5, unit: 'mL', system: ucum, code: 'mL' },
};
const { status: _status, ...withoutStatus } = observation;
const { valueQuantity: _value, ...withoutValue } = observation;
const { effectiveDateTime: _time, ...withoutTime } = observation;

function transactionOf(resource: object): object {
  return {
    resourceType: 'Bundle',
    type: 'transaction',
    entry: [
      {
        fullUrl: 'https://example.org/fhir/Observation/drainage-1',
        resource,
        request: { method: 'PUT', url: 'Observation/drainage-1' },
      },
    ],
  };
}

function withPeriod(start: string, end: string): object {
  return { ...withoutTime, effectivePeriod: { start, end } };
}

describe('valid resources have no problems', () => {
  test.each([
    ['an Observation', observation],
    ['a transaction Bundle', transactionOf(observation)],
    [
      'an OperationOutcome',
      { resourceType: 'OperationOutcome', issue: [{ severity: 'error', code: 'invalid', diagnostics: 'x' }] },
    ],
    [
      'a CapabilityStatement of R4',
      {
        resourceType: 'CapabilityStatement',
        status: 'active',
        date: '2025-01-01',
        kind: 'instance',
        implementation: { description: 'Invented' },
        fhirVersion: '4.0.1',
        format: ['application/fhir+json'],
        rest: [{ mode: 'server', interaction: [{ code: 'transaction' }] }],
      },
    ],
    ['an absent value with its reason', { ...withoutValue, dataAbsentReason: { text: 'Not read' } }],
    ['a Period in order across zones', withPeriod('2025-03-01T09:00:00+01:00', '2025-03-01T08:30:00Z')],
    ['a Period whose end is known to the year', withPeriod('2025-03', '2025')],
  ])('%s', (_name, resource) => {
    expect(problemsOf(resource)).toEqual([]);
  });
});

describe('every problem is found, alone and inside a Bundle', () => {
  test.each([
    ['a missing status', withoutStatus, /Missing required property Observation.status/],
    ['a status of no code list', { ...observation, status: 'done' }, /\/status must be equal to one of/],
    ['two values', { ...observation, valueString: '120' }, /Conflicting choice of type/],
    ['an unknown property', { ...observation, drain: 'left' }, /additional propert/],
    ['an empty array', { ...observation, category: [] }, /category is an empty array/],
    ['an empty object', { ...observation, method: {} }, /method is an empty object/],
    ['a null', { ...observation, note: null }, /note is null/],
    [
      'a time without zone',
      { ...observation, effectiveDateTime: '2025-03-01T08:00:00' },
      /\/effectiveDateTime/,
    ],
    [
      'a Period that ends before it starts',
      withPeriod('2025-03-01T08:00:00Z', '2025-03-01T08:30:00+01:00'),
      /effectivePeriod starts at/,
    ],
    ['a reversed Period of days', withPeriod('2025-03-02', '2025-03-01'), /effectivePeriod starts at/],
    ['a reason for absence beside a value', { ...observation, dataAbsentReason: { text: 'x' } }, /obs-6/],
    ['a type that is no resource', { ...observation, resourceType: 'Period' }, /additional propert/],
    ['a type named like a built-in', { ...observation, resourceType: 'constructor' }, /is no R4/],
    ['a type that R4 has not', { ...observation, resourceType: 'DrainReading' }, /"DrainReading" is no R4/],
  ])('%s', (_name, resource, problem) => {
    expect(problemsOf(resource).join('\n')).toMatch(problem);
    expect(problemsOf(transactionOf(resource)).join('\n')).toMatch(problem);
  });

  test('a resource inside a Bundle is judged as what it says it is, and only as that', () => {
    expect(problemsOf(transactionOf({ ...observation, status: 'done' }))).toHaveLength(1);
    expect(problemsOf(transactionOf({ status: 'final' })).join('\n')).toMatch(
      /required property 'resourceType'/,
    );
  });

  test.each(['cmH2O', 'cm[H2o]', ' mL', 'ccm', undefined])('%j as a UCUM code', (code) => {
    const valueQuantity = { value: -20, unit: 'as printed', system: ucum, ...(code && { code }) };
    const component = [{ code: { text: 'Suction' }, valueQuantity }];
    expect(problemsOf({ ...observation, component }).join('\n')).toMatch(
      /valueQuantity.code .* no UCUM code/,
    );
  });

  test.each([undefined, null, [observation], 'Observation', {}])('%j is no resource', (value) => {
    expect(problemsOf(value)).toHaveLength(1);
  });
});

describe('convertUcum', () => {
  test('converts by the definitions of UCUM', () => {
    expect(convertUcum(-20, 'cm[H2O]', 'kPa')).toBeCloseTo(-1.96133, 10);
    expect(convertUcum(0, 'mL', 'L')).toBe(0);
  });

  test('refuses units of different kinds and codes that are none', () => {
    expect(() => convertUcum(1, 'mL', 'kPa')).toThrow(/from "mL" to "kPa"/);
    expect(() => convertUcum(1, 'cmH2O', 'kPa')).toThrow(/cmH2O/);
  });
});
