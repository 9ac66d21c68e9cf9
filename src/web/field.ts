/** What a field of a form is, and the shorthands that fields are written in. */
import { wordsFor } from './words.ts';

export type Option = readonly [value: string, words: string];

export interface Common {
  /** Where the value stands in the entry, such as suction.column_cmh2o. */
  readonly path: string;
  readonly label: string;
  readonly required?: boolean;
  /** Not shown until it is asked for. */
  readonly isMore?: boolean;
}

export type Field = Common &
  (
    | { readonly type: 'number'; readonly unit: string; readonly isSigned?: boolean }
    | { readonly type: 'choice'; readonly options: readonly Option[]; readonly isNumber?: boolean }
    | { readonly type: 'select'; readonly options: readonly Option[] }
    | { readonly type: 'yes-no' }
    | { readonly type: 'moment' }
    | { readonly type: 'text' | 'lines'; readonly most: number; readonly isList?: boolean }
  );

const YES_NO: readonly Option[] = [
  ['true', 'yes'],
  ['false', 'no'],
];

/** What can be chosen for a field; none where it is typed. */
export function optionsOf(field: Field): readonly Option[] {
  if (field.type === 'yes-no') return YES_NO;
  return field.type === 'choice' || field.type === 'select' ? field.options : [];
}

/** A value in the words of what can be chosen; what is typed, a name or words, as it was written. */
export const valueText = (field: Field, value: string): string =>
  optionsOf(field).find(([option]) => option === value)?.[1] ?? value;

const options = (...codes: readonly string[]): readonly Option[] =>
  codes.map((code) => [code, wordsFor(code)]);

export const number = (path: string, label: string, unit: string, more: Partial<Common> = {}): Field => ({
  type: 'number',
  path,
  label,
  unit,
  ...more,
});
export const choice = (
  path: string,
  label: string,
  codes: readonly string[],
  more: Partial<Common> = {},
): Field => ({
  type: 'choice',
  path,
  label,
  options: options(...codes),
  ...more,
});
export const select = (
  path: string,
  label: string,
  codes: readonly string[],
  more: Partial<Common> = {},
): Field => ({
  type: 'select',
  path,
  label,
  options: options(...codes),
  ...more,
});

export const level = (path: string, label: string, more: Partial<Common> = {}) =>
  number(path, label, 'mL', more);
export const pressure = (path: string, label: string, more: Partial<Common> = {}) =>
  number(path, label, 'cmH2O', more);
