/**
 * $lastn: grouping, number and ties.
 * Source: http://hl7.org/fhir/R4/observation-operation-lastn.html, whose own text has the table of groupings.
 */
import { afterEach, describe, expect, test } from 'vitest';
import { type Indexed, indexed } from './indexed.ts';

let index: Indexed;
afterEach(() => index.close());

const category = [{ coding: [{ system: 'urn:example:category', code: 'lab' }] }];
const observation = (id: string, code: object, time: string, more: object = {}) => ({
  id,
  status: 'final',
  category,
  code,
  subject: { reference: 'Patient/1' },
  effectiveDateTime: `2024-03-10T${time}:00Z`,
  ...more,
});
const coded = (...codes: readonly string[]) => ({
  coding: codes.map((code) => ({ system: 'urn:example:code', code })),
});
const ask = (more = '') => index.ask('lastn', `patient=1&category=lab${more}`);
const idsOf = (bundle: ReturnType<typeof ask>) => (bundle.entry ?? []).map(({ resource }) => resource?.id);

test('more than can be shown at once is refused, and counted', () => {
  index = indexed();
  const many = Array.from({ length: 10_001 }, (_, n) => observation(`o${n}`, coded('a'), '01:00'));
  for (let n = 0; n < many.length; n += 500) index.issue(...many.slice(n, n + 500));
  expect(() => ask('&max=1')).toThrow(/over 10000 observations.*smaller max/);
  expect(ask('&max=1&_summary=count').total).toBe(10_001);
  const include = 'subject=1&coding=urn:example:code|a&statistic=count&include=true';
  expect(() => index.stats(include)).toThrow(/over 10000 observations.*limit/);
  expect(index.stats(`${include}&limit=3`).parameter).toHaveLength(4);
}, 60_000);

describe('codes are the same that share a coding, directly or through others', () => {
  test.each([
    ['a, b and c are three', [coded('a'), coded('b'), coded('c')], 3],
    ['a, b, and a with c are two', [coded('a'), coded('b'), coded('a', 'c')], 2],
    ['a, b, and a with b are one', [coded('a'), coded('b'), coded('a', 'b')], 1],
    ['words alone are compared as they are', [{ text: 'textM' }, { text: 'Text' }, { text: 't e x t' }], 3],
    ['the same words are one', [{ text: 'Text' }, { text: 'Text' }], 1],
  ])('%s', (_name, codes, groups) => {
    index = indexed();
    index.issue(...codes.map((code, n) => observation(`o${n}`, code, `0${n}:00`)));
    expect(idsOf(ask())).toHaveLength(groups);
  });

  test('a coding of another system is another code', () => {
    index = indexed();
    const other = { coding: [{ system: 'urn:example:other', code: 'a' }] };
    index.issue(observation('x', coded('a'), '01:00'), observation('y', other, '02:00'));
    expect(idsOf(ask())).toHaveLength(2);
  });
});

test('one of each unless max says more; the newest first; ties with the last one too', () => {
  index = indexed();
  index.issue(
    ...['01:00', '02:00', '03:00', '03:00', '04:00'].map((time, n) => observation(`a${n}`, coded('a'), time)),
    observation('b0', coded('b'), '00:30'),
  );
  expect(idsOf(ask()).sort()).toEqual(['a4', 'b0']);
  // The second place is shared by two.
  const two = idsOf(ask('&max=2'));
  expect(two[0]).toBe('a4');
  expect([...two].sort()).toEqual(['a2', 'a3', 'a4', 'b0']);
  expect([...idsOf(ask('&max=3'))].sort()).toEqual(['a2', 'a3', 'a4', 'b0']);
  expect(idsOf(ask('&max=50'))).toHaveLength(6);
  // FHIR R4 search.html#summary: count is the number alone.
  expect(ask('&max=2&_summary=count')).toMatchObject({ total: 4 });
  expect(ask('&max=2&_summary=count').entry).toBeUndefined();
});

test('sums since placement all start at one time: the newest is the one that ends last', () => {
  index = indexed();
  const sum = (id: string, end: string) => {
    const { effectiveDateTime: _at, ...rest } = observation(id, coded('sum'), '00:00');
    return { ...rest, effectivePeriod: { start: '2024-03-10T00:00:00Z', end: `2024-03-10T${end}:00Z` } };
  };
  index.issue(sum('old', '01:00'), sum('new', '03:00'), sum('between', '02:00'));
  expect(idsOf(ask())).toEqual(['new']);
});

test('other parameters filter; what was entered in error is there unless status leaves it out', () => {
  index = indexed();
  index.issue(
    observation('good', coded('a'), '01:00'),
    observation('wrong', coded('a'), '02:00', { status: 'entered-in-error' }),
    observation('other', coded('a'), '03:00', { subject: { reference: 'Patient/2' } }),
  );
  expect(idsOf(ask())).toEqual(['wrong']);
  expect(idsOf(ask('&status:not=entered-in-error'))).toEqual(['good']);
  expect(idsOf(ask('&date=lt2024-03-10T02:00:00Z'))).toEqual(['good']);
});

test.each([
  ['category=lab', /patient or subject/],
  ['patient=1', /category or a code/],
  ['patient=1&code=a&max=0', /max=0/],
  ['patient=1&code=a&max=2&max=3', /more than once/],
  ['patient=1&code=a&_count=3', /_count/],
  ['patient=1&code=a&colour=red', /colour/],
])('%s is refused', (query, message) => {
  index = indexed();
  expect(() => index.ask('lastn', query)).toThrow(message);
});

test('a sum that grows keeps its start: the one that ends last is the most recent, and the others are no ties of it', () => {
  index = indexed();
  const grown = (id: string, end: string) => {
    const { effectiveDateTime: start, ...rest } = observation(id, coded('sum'), '01:00');
    return { ...rest, effectivePeriod: { start, end: `2024-03-10T${end}:00Z` } };
  };
  index.issue(grown('s1', '02:00'), grown('s3', '04:00'), grown('s2', '03:00'));
  expect(idsOf(ask())).toEqual(['s3']);
  expect(idsOf(ask('&max=2'))).toEqual(['s3', 's2']);
});
