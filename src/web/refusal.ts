/** Why the service does not take an entry, in the words of its form: fields by their labels, what was entered, how to mend it. */
import type { Fault, Problem } from './api.ts';
import { type Field, valueText } from './field.ts';
import { clockText } from './time.ts';

/** What is wrong with an entry, and the form that it was entered with. */
export interface Refused {
  readonly fields: readonly Field[];
  readonly zone: string;
  /** By which a time of today is told from one of another day, ms. */
  readonly now: number;
}

/** The field that a fault belongs to; of a fault of several fields the one that its mend names, or the first. */
export function fieldOf({ pointer, mend }: Fault, fields: readonly Field[]): Field | undefined {
  const path = pathOf(pointer);
  if (path === '') return undefined;
  const within = fields.filter((field) => field.path.startsWith(`${path}.`));
  return (
    fields.find((field) => field.path === path || path.startsWith(`${field.path}.`)) ??
    within.find((field) => mend.includes(nameOf(field))) ??
    within[0]
  );
}

const pathOf = (pointer: string): string =>
  pointer
    .replace(/^\/replacement\b/, '')
    .slice(1)
    .replaceAll('/', '.');

const nameOf = ({ path }: Field): string => path.split('.').at(-1) ?? path;

/** What stands at the field of a fault: '2000 cmH2O is over 1000: enter at most 1000'. */
export function faultText(fault: Fault, refused: Refused): string {
  const { pointer, detail, mend } = fault;
  if (pointer === '' && detail === 'charts nothing')
    return 'Nothing is charted yet: fill in at least one field.';
  const field = fieldOf(fault, refused.fields);
  const value = field === undefined ? '' : enteredText(field, fault, refused);
  return `${value}${detail}: ${inWords(mend, refused)}`;
}

/** Empty where the fault is not of this one value. */
function enteredText(field: Field, { pointer, value }: Fault, refused: Refused): string {
  if (value === undefined || pathOf(pointer) !== field.path) return '';
  const entered = value.replace(/^"(.*)"$/, '$1');
  if (field.type === 'moment') return `${clockIn(entered, refused)} `;
  return field.type === 'number' ? `${entered} ${field.unit} ` : `${valueText(field, entered)} `;
}

const MOMENT = /\d{4}-\d{2}-\d{2}T[\d:.]+(?:Z|[+-]\d{2}:\d{2})/g;
const NAME = /\b[a-z]+(?:_[a-z0-9]+)+\b/g;

const clockIn = (words: string, { zone, now }: Pick<Refused, 'zone' | 'now'>): string =>
  words.replace(MOMENT, (moment) => clockText(moment, zone, now));

/** A mend is written for programs: names become labels, moments the clock on the wall, and nothing is sent by hand. */
const inWords = (mend: string, { fields, ...clock }: Refused): string =>
  clockIn(mend, clock)
    .replace(/^send /, 'enter ')
    .replace(
      NAME,
      (name) => fields.find((field) => nameOf(field) === name)?.label ?? name.replaceAll('_', ' '),
    );

/** Of what happened to the entry that is changed, rather than of what was entered. */
const MEANWHILE: Readonly<Record<string, string>> = {
  'not-the-chain-end':
    'The entry was corrected by somebody else meanwhile. Open it from the chart and correct what stands there now.',
  'already-void': 'The entry was withdrawn by somebody else meanwhile. Chart what is true as a new entry.',
};

/** Whole sentences, of which some belong to no field. */
export function refusalText(problem: Pick<Problem, 'type' | 'detail' | 'errors'>, refused: Refused): string {
  const { type, detail, errors = [] } = problem;
  const meanwhile = MEANWHILE[type.split(':').at(-1) ?? ''];
  if (meanwhile !== undefined) return meanwhile;
  if (errors.length === 0) return detail;
  return errors.map((fault) => `${labelOf(fault, refused)}${faultText(fault, refused)}`).join('; ');
}

function labelOf(fault: Fault, { fields }: Refused): string {
  const field = fieldOf(fault, fields);
  return field === undefined ? '' : `${field.label}: `;
}
