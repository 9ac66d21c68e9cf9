/** Quantities in other units: converted by UCUM, never guessed, untouched where nothing is to be converted. */
import { describe, expect, test } from 'vitest';
import { inFieldUnits } from '../../src/intake/native/convert-units.ts';
import { convert } from '../../src/intake/ucum.ts';
import { ExactNumber, parseExactJson } from '../../src/json/exact-json.ts';
import { convertUcum } from '../support/r4.ts';

test('a message without other units is the same object', () => {
  const message = parseExactJson('{"level_ml":12.0,"seal":{"level_cmh2o":4},"tubes":["A"],"note":null}');
  const { value, sent, faults } = inFieldUnits(message);
  expect(value).toBe(message);
  expect([sent, faults]).toEqual([[], []]);
});

test('only what is converted is new', () => {
  const message = parseExactJson(
    '{"seal":{"level_cmh2o":4},"suction":{"dial_cmh2o":{"value":1.96,"unit":"kPa"}}}',
  );
  const before = JSON.stringify(message);
  const { value, sent } = inFieldUnits(message);
  expect(value).toMatchObject({ suction: { dial_cmh2o: { text: '19.986' } } });
  expect((value as { seal: object }).seal).toBe((message as { seal: object }).seal);
  expect(sent).toEqual([{ field: '/suction/dial_cmh2o', value: '1.96', unit: 'kPa' }]);
  expect(JSON.stringify(message)).toBe(before);
});

test('the unit of the field itself keeps the digits', () => {
  const { value, sent } = inFieldUnits(parseExactJson('{"level_ml":{"value":2.50,"unit":"mL"}}'));
  expect(value).toEqual({ level_ml: new ExactNumber('2.50') });
  expect(sent).toEqual([]);
});

test.each([
  ['1.96', 'kPa', 'cm[H2O]', '19.986'],
  ['-1.5', 'kPa', 'cm[H2O]', '-15.296'],
  ['15', 'mm[Hg]', 'cm[H2O]', '20.393'],
  ['20', 'mbar', 'cm[H2O]', '20.394'],
  ['0.15', 'L', 'mL', '150'],
  ['3', 'L/h', 'mL/min', '50'],
  ['150', '[lb_av]', 'kg', '68.039'],
  ['0', 'kPa', 'cm[H2O]', '0'],
])('%s %s in %s is %s', (digits, from, to, expected) => {
  expect(convert(digits, from, to)).toBe(expected);
  expect(Number(expected)).toBeCloseTo(convertUcum(Number(digits), from, to), 3);
});

describe('not converted', () => {
  test.each([
    'pound',
    'cmH2O',
    'cm H2O',
    'constructor',
    '__proto__',
    '',
    'mol',
    '(((',
    'kPa'.repeat(30),
    '°C',
  ])('from %j', (unit) => expect(convert('1', unit, 'kg')).toBeUndefined());

  test.each(['1e3', '1234567890', '1.1234567890', '-'])('the number %s', (digits) =>
    expect(convert(digits, 'kPa', 'cm[H2O]')).toBeUndefined(),
  );
});
