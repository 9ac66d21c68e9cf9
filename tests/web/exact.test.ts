/** Numbers as they were typed, down to the last digit. */
import { expect, test } from 'vitest';
import { readDigits, setAt, valueAt, writeJson } from '../../src/web/exact.ts';

test.each([
  ['12', '12'],
  ['12.50', '12.50'],
  ['12,5', '12.5'],
  [' 0 ', '0'],
  ['007', '7'],
  ['0.125', '0.125'],
  // A magnitude: -20 means 20, and the page asks nothing more.
  ['-20', '20'],
  ['−20', '20'],
  ['+3', '3'],
])('%j is %s', (typed, digits) => {
  expect(readDigits(typed, false)).toEqual({ digits });
});

test.each(['', 'x', '1.2345', '1e3', '1 2', '1.', '.5', '12345678901', '1,2,3'])(
  '%j is no number',
  (typed) => {
    expect(readDigits(typed, false)).toEqual({ fault: 'is no number with at most 3 decimals' });
  },
);

test('a pressure against atmosphere keeps its sign', () => {
  expect([readDigits('-8', true), readDigits('−8', true), readDigits('8', true)]).toEqual([
    { digits: '-8' },
    { digits: '-8' },
    { digits: '8' },
  ]);
});

test('digits are written as they stand, everything else as JSON', () => {
  const body = {
    kind: 'reading',
    level_ml: { digits: '12.50' },
    note: 'a "b"',
    clamped: false,
    tubes: ['A', 'B'],
  };
  expect(writeJson(body)).toBe(
    '{"kind":"reading","level_ml":12.50,"note":"a \\"b\\"","clamped":false,"tubes":["A","B"]}',
  );
});

test('paths lead into what they make', () => {
  const content = {};
  setAt(content, 'suction.column_cmh2o', { digits: '20' });
  setAt(content, 'suction.source', 'on');
  setAt(content, 'level_ml', { digits: '1' });
  expect(content).toEqual({
    suction: { column_cmh2o: { digits: '20' }, source: 'on' },
    level_ml: { digits: '1' },
  });
  expect(valueAt(content, 'suction.source')).toBe('on');
  expect([valueAt(content, 'seal.level_cmh2o'), valueAt(content, 'level_ml.digits.x')]).toEqual([
    undefined,
    undefined,
  ]);
});
