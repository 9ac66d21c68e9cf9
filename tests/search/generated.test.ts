/**
 * Generated resources and searches beside a filter that looks at every resource, one after another.
 * The filter follows FHIR R4 search.html; it reads dates with luxon and knows nothing of the index.
 */
import fc from 'fast-check';
import { DateTime } from 'luxon';
import { expect, test } from 'vitest';
import { type Content, indexed } from './indexed.ts';

const CODES = ['a', 'b', 'c'];
const PATIENTS = ['Patient/1', 'Patient/2', 'Group/1'];
const STATUSES = ['final', 'amended', 'entered-in-error'];
const ZONE = 'Europe/Berlin';
/** To convert by hand: mL in each (UCUM). */
const MILLILITRES: Readonly<Record<string, number>> = { mL: 1, dL: 100, L: 1000 };

interface Made extends Content {
  readonly status: string;
  readonly code: { readonly coding: readonly { readonly system: string; readonly code: string }[] };
  readonly subject: { readonly reference: string };
  readonly effectiveDateTime?: string;
  readonly effectivePeriod?: { readonly start?: string; readonly end?: string };
  readonly valueQuantity?: {
    readonly value: number;
    readonly system: string;
    readonly code: string;
    readonly comparator?: string;
  };
}

const dateText = fc
  .record({
    ms: fc.integer({ min: Date.UTC(2024, 2, 29), max: Date.UTC(2024, 3, 2) }),
    cut: fc.constantFrom(4, 7, 10, 17, 20, 24),
  })
  .map(({ ms, cut }) => {
    const iso = new Date(ms).toISOString();
    return cut === 17 ? `${iso.slice(0, 16)}Z` : cut === 20 ? `${iso.slice(0, 19)}Z` : iso.slice(0, cut);
  });

const SYSTEM = 'http://unitsofmeasure.org';
const quantity = fc.record({
  value: fc.integer({ min: 0, max: 30 }),
  code: fc.constantFrom(...Object.keys(MILLILITRES)),
});
const made = fc.record({
  status: fc.constantFrom(...STATUSES),
  codes: fc.subarray(CODES, { minLength: 1 }),
  subject: fc.constantFrom(...PATIENTS),
  when: fc.oneof(
    dateText.map((effectiveDateTime) => ({ effectiveDateTime })),
    fc
      .tuple(dateText, dateText)
      .map((texts) => [...texts].sort())
      .map(([start, end]) => ({ effectivePeriod: { start: start ?? '', end: end ?? '' } })),
    dateText.map((start) => ({ effectivePeriod: { start } })),
    dateText.map((end) => ({ effectivePeriod: { end } })),
  ),
  value: fc.option(fc.record({ quantity, comparator: fc.option(fc.constantFrom('>=', '<')) })),
});

const PREFIX = fc.constantFrom('', 'eq', 'ne', 'gt', 'lt', 'ge', 'le', 'sa', 'eb');
const criterion = fc.oneof(
  fc.tuple(
    fc.constant('date'),
    fc.tuple(PREFIX, dateText).map(([p, text]) => p + text),
  ),
  fc.tuple(
    fc.constantFrom('code', 'code:not'),
    fc.subarray(CODES, { minLength: 1 }).map((codes) => codes.join(',')),
  ),
  fc.tuple(fc.constantFrom('status', 'status:not'), fc.constantFrom(...STATUSES)),
  fc.tuple(fc.constantFrom('subject', 'patient'), fc.constantFrom('Patient/1', 'Patient/2')),
  fc.tuple(
    fc.constant('value-quantity'),
    fc.tuple(PREFIX, quantity).map(([p, { value, code }]) => `${p}${value}|${SYSTEM}|${code}`),
  ),
  fc.tuple(fc.constant('value-quantity:missing'), fc.constantFrom('true', 'false')),
);

/** A date of FHIR as [start, end) by its precision. */
function span(text: string): readonly [number, number] {
  const unit = ({ 4: 'years', 7: 'months', 10: 'days', 17: 'minutes', 20: 'seconds' } as const)[text.length];
  const start = DateTime.fromISO(text, { zone: ZONE });
  return [start.toMillis(), (unit === undefined ? start.plus(1) : start.plus({ [unit]: 1 })).toMillis()];
}

/** Ranges compared as R4 says; `exactly` is the point that gt, lt, ge and le of a number look at. */
function compares(prefix: string, [tLo, tHi]: readonly number[], [sLo, sHi]: readonly number[]): boolean {
  const [a = 0, b = 0, lo = 0, hi = 0] = [tLo, tHi, sLo, sHi];
  const within = a >= lo && b <= hi;
  const rules: Readonly<Record<string, boolean>> = {
    eq: within,
    ne: !within,
    gt: b > hi,
    lt: a < lo,
    ge: b > hi || within,
    le: a < lo || within,
    sa: a >= hi,
    eb: b <= lo,
  };
  return rules[prefix] ?? false;
}

function quantityFits(of: Made, prefix: string, rest: string): boolean {
  const value = of.valueQuantity;
  if (value === undefined) return false;
  const [number = '', , unit = ''] = rest.split('|');
  const [asked, per] = [Number(number) * (MILLILITRES[unit] ?? 0), MILLILITRES[unit] ?? 0];
  const plain = value.value * (MILLILITRES[value.code] ?? 0);
  const low = value.comparator === '<' ? -Infinity : plain;
  const high = value.comparator === '>=' ? Infinity : plain;
  const within = low >= asked - per / 2 && high < asked + per / 2;
  const rules: Readonly<Record<string, boolean>> = {
    eq: within,
    ne: !within,
    gt: high > asked,
    lt: low < asked,
    ge: high >= asked,
    le: low <= asked,
    sa: low > asked,
    eb: high < asked,
  };
  return rules[prefix] ?? false;
}

function fits(of: Made, name: string, value: string): boolean {
  const [, prefix = 'eq', rest = ''] = /^(eq|ne|gt|lt|ge|le|sa|eb)?(.*)$/.exec(value) ?? [];
  const codes = of.code.coding.map(({ code }) => code);
  switch (name) {
    case 'date': {
      const { start, end } = of.effectivePeriod ?? { start: of.effectiveDateTime, end: of.effectiveDateTime };
      const time = [
        start === undefined ? -Infinity : span(start)[0],
        end === undefined ? Infinity : span(end)[1],
      ];
      return compares(prefix, time, span(rest));
    }
    case 'code':
      return value.split(',').some((each) => codes.includes(each));
    case 'code:not':
      return !value.split(',').some((each) => codes.includes(each));
    case 'status':
      return of.status === value;
    case 'status:not':
      return of.status !== value;
    case 'value-quantity':
      return quantityFits(of, prefix, rest);
    case 'value-quantity:missing':
      return (of.valueQuantity === undefined) === (value === 'true');
    default:
      return of.subject.reference === value;
  }
}

test('every generated search finds what a plain filter finds, in every order, page by page', () => {
  const run = fc.property(
    fc.array(made, { minLength: 1, maxLength: 25 }),
    fc.array(fc.array(criterion, { maxLength: 3 }), { minLength: 5, maxLength: 5 }),
    fc.constantFrom('', '&_sort=date', '&_sort=status,-date', '&_sort=_lastUpdated', '&_sort=-_id'),
    (contents, searches, order) => {
      const index = indexed(ZONE);
      try {
        const resources = contents.map(
          ({ status, codes, subject, when, value }, n): Made => ({
            id: `r${n}`,
            status,
            code: { coding: codes.map((code) => ({ system: 'urn:example:code', code })) },
            subject: { reference: subject },
            ...when,
            ...(value === null
              ? {}
              : {
                  valueQuantity: {
                    ...value.quantity,
                    ...(value.comparator === null ? {} : { comparator: value.comparator }),
                    system: SYSTEM,
                  },
                }),
          }),
        );
        index.issue(...resources);
        for (const criteria of searches) {
          const query = new URLSearchParams(criteria).toString();
          const expected = resources.filter((each) =>
            criteria.every(([name, value]) => fits(each, name, value)),
          );
          const found = index.ids(`${query}${order}&_count=4`);
          expect([...found].sort(), query).toEqual(expected.map(({ id }) => id).sort());
          const { total } = index.ask('search', `${query}&_summary=count`);
          expect(total, query).toBe(expected.length);
        }
      } finally {
        index.close();
      }
    },
  );
  fc.assert(run, { numRuns: 60 });
});
