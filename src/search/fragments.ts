/** Parts of a WHERE clause. `v` is the row of a version. */

import { UCUM } from '../fhir/codings.ts';
import { EVER } from '../fhir/search/date-range.ts';
import type { Unit } from '../fhir/search/extract.ts';
import type { DateValue, QuantityValue } from '../fhir/search/query.ts';
import { exact } from '../fhir/search/read-values.ts';

export interface Fragment {
  readonly sql: string;
  readonly values: readonly (number | string)[];
}

export const fragment = (sql: string, ...values: readonly (number | string)[]): Fragment => ({ sql, values });
const NEVER = fragment('0');
const ALWAYS = fragment('1');

export const both = (parts: readonly Fragment[]): Fragment => joined(parts, ' AND ', ALWAYS);
export const either = (parts: readonly Fragment[]): Fragment => joined(parts, ' OR ', NEVER);
const not = ({ sql, values }: Fragment): Fragment => ({ sql: `NOT (${sql})`, values });

function joined(parts: readonly Fragment[], by: string, none: Fragment): Fragment {
  if (parts.length === 0) return none;
  return {
    sql: `(${parts.map(({ sql }) => sql).join(by)})`,
    values: parts.flatMap(({ values }) => values),
  };
}

/** What a column, or an expression, holds is one of these. */
export const among = (column: string, values: readonly (number | string)[]): Fragment =>
  fragment(`${column} IN (SELECT value FROM json_each(?))`, JSON.stringify(values));

/** Rows of any of these sets of systems; the index holds those that are of one at all. */
export const ofNamings = (namings: readonly number[]): Fragment =>
  both([fragment('v.naming > 0'), among('v.naming', namings)]);

/**
 * Effective time against a search value, by the literal text of FHIR R4 search.html#prefix. Rows are walked by the end
 * of their time, so each test also says where that end can be.
 * @param longest of any period there can be, ms
 */
export function effectiveFragment({ prefix, range: { lo, hi } }: DateValue, longest: number): Fragment {
  const endsAfter = fragment('v.hi > ?', hi);
  const startsBefore = fragment('v.lo < ?', lo);
  const within = fragment('v.lo >= ? AND v.hi <= ? AND v.hi > ?', lo, hi, lo);
  const lastEnd = Math.min(lo + longest, 2 * EVER);
  switch (prefix) {
    case 'eq':
      return within;
    case 'ne':
      return both([DATED, not(within)]);
    case 'gt':
      return endsAfter;
    case 'lt':
      return both([DATED, startsBefore, fragment('v.hi < ?', lastEnd)]);
    case 'ge':
      return both([fragment('v.hi > ?', lo), either([endsAfter, within])]);
    case 'le':
      return both([DATED, fragment('v.hi <= ?', Math.max(hi, lastEnd)), either([startsBefore, within])]);
    case 'sa':
      return fragment('v.lo >= ? AND v.hi > ?', hi, hi);
    case 'eb':
      return both([DATED, fragment('v.hi <= ?', lo)]);
    case 'ap':
      return both([DATED, fragment('v.lo < ? AND v.hi > ?', hi, lo)]);
    default:
      return prefix satisfies never;
  }
}

export const DATED = fragment('v.lo < v.hi');
export const UNDATED = fragment('v.lo >= v.hi');

/** Time of issue, an instant of one ms that only grows with the row: a comparison of rows. @param rowAt first row issued then or later */
export function updatedFragment({ prefix, range }: DateValue, rowAt: (ms: number) => number): Fragment {
  const lo = rowAt(Math.ceil(range.lo));
  const hi = rowAt(Math.ceil(range.hi));
  switch (prefix) {
    case 'eq':
    case 'ap':
      return fragment('v.row >= ? AND v.row < ?', lo, hi);
    case 'ne':
      return fragment('(v.row < ? OR v.row >= ?)', lo, hi);
    case 'gt':
    case 'sa':
      return fragment('v.row >= ?', hi);
    case 'ge':
      return fragment('v.row >= ?', lo);
    case 'lt':
    case 'eb':
      return fragment('v.row < ?', lo);
    case 'le':
      return fragment('v.row < ?', hi);
    default:
      return prefix satisfies never;
  }
}

/** @returns undefined when the two units measure different things */
export type ConvertUnit = (value: number, from: string, to: string) => number | undefined;

/** Values in one unit against a search value, which is converted into that unit. */
export function valueFragment(unit: Unit | null, asked: QuantityValue, convert: ConvertUnit): Fragment {
  if (unit === null) return NEVER;
  const inUnit = converted(unit, asked, convert);
  if (inUnit === undefined) return NEVER;
  const { number, lo, hi } = inUnit;
  // A bound stands for all that the value may be: above, below.
  const [above, below] = [/^>/.test(unit.comparator ?? ''), /^</.test(unit.comparator ?? '')];
  const highest = (sql: string, value: number) => (above ? ALWAYS : fragment(`v.value ${sql} ?`, value));
  const highestUnder = (value: number) => (above ? NEVER : fragment('v.value < ?', value));
  const lowest = (sql: string, value: number) => (below ? ALWAYS : fragment(`v.value ${sql} ?`, value));
  const lowestOver = (sql: string, value: number) => (below ? NEVER : fragment(`v.value ${sql} ?`, value));
  const within = both([lowestOver('>=', lo), highestUnder(hi)]);
  const tenth = Math.abs(number) / 10;
  switch (asked.prefix) {
    case 'eq':
      return within;
    case 'ne':
      return not(within);
    case 'gt':
      return highest('>', number);
    case 'ge':
      return highest('>=', number);
    case 'lt':
      return lowest('<', number);
    case 'le':
      return lowest('<=', number);
    case 'sa':
      return lowestOver('>', number);
    case 'eb':
      return highestUnder(number);
    case 'ap':
      return both([highest('>=', number - tenth), lowest('<=', number + tenth)]);
    default:
      return asked.prefix satisfies never;
  }
}

function converted(
  { system, code, unit }: Unit,
  asked: QuantityValue,
  convert: ConvertUnit,
): { readonly number: number; readonly lo: number; readonly hi: number } | undefined {
  const { number, range } = asked;
  const same = { number, ...range };
  if (asked.system !== undefined && asked.system !== system) return undefined;
  if (asked.unit === undefined || asked.unit === code) return same;
  if (asked.system === undefined) return asked.unit === unit ? same : undefined;
  if (system !== UCUM || code === null) return undefined;
  const from = asked.unit;
  const [n, lo, hi] = [number, range.lo, range.hi].map((value) => convert(value, from, code));
  if (n === undefined || lo === undefined || hi === undefined) return undefined;
  return { number: exact(n), lo: exact(lo), hi: exact(hi) };
}
