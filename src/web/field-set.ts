/** The fields of a form as one: built for a unit, read together, filled together. */
import type { UnitProfile } from './answers.ts';
import { serviceNow } from './clock.ts';
import { fill, h } from './dom.ts';
import { type Json, setAt, valueAt } from './exact.ts';
import type { Field } from './field.ts';
import { FieldFault, type FieldView, fieldView } from './field-view.ts';
import { fieldsOf, NOTE, REASON, TIME } from './fields.ts';
import type { Refused } from './refusal.ts';

export type Content = Readonly<Record<string, unknown>>;

export interface FieldSetOptions {
  readonly kind: string;
  readonly profiles: readonly UnitProfile[];
  readonly unit: UnitProfile | null;
  readonly zone: string;
  /** A reason is asked for where something is corrected. */
  readonly isCorrection: boolean;
  lastOf(field: Field): string | null;
}

export interface FieldSet {
  readonly elements: readonly HTMLElement[];
  /** What stands in the fields that can be read. */
  content(): Record<string, Json>;
  /** The same, or null where a fault is shown at a field. */
  checked(): Record<string, Json> | null;
  show(content: Content): void;
  /** In the order of the form. */
  views(): readonly FieldView[];
}

export function fieldSet(options: FieldSetOptions): FieldSet {
  const { kind, zone, profiles, isCorrection } = options;
  const view = (field: Field): FieldView =>
    fieldView(field, { last: isCorrection ? null : options.lastOf(field), zone });
  const before = [TIME, ...(isCorrection ? [REASON] : [])].map(view);
  const note = view(NOTE);
  const [main, more] = [h('div', { class: 'fields' }), h('div', { class: 'fields' })];
  let unit = options.unit;
  let ofKind: readonly FieldView[] = [];
  const all = (): readonly FieldView[] => [...before, ...ofKind, note];

  function build(): void {
    ofKind = fieldsOf(kind, unit, profiles).map(view);
    const isMore = ({ field }: FieldView): boolean => field.isMore ?? false;
    fill(
      main,
      ofKind.filter((each) => !isMore(each)).map(({ element }) => element),
    );
    fill(
      more,
      [...ofKind.filter(isMore), note].map(({ element }) => element),
    );
  }

  function show(content: Content): void {
    const chosen = profiles.find(({ id }) => id === content.profile);
    if (chosen !== undefined && chosen !== unit) {
      unit = chosen;
      build();
    }
    for (const each of all()) {
      const value = valueAt(content, each.field.path);
      if (value !== undefined) each.show(plain(value));
    }
  }

  build();
  // What is proven of suction depends on the unit that is chosen.
  main.addEventListener('change', (event) => {
    if ((event.target as Element).getAttribute('name') === 'profile') show(readable(all()));
  });
  const details = h('details', {}, h('summary', {}, 'More to chart'), more);
  return {
    elements: [
      h(
        'div',
        { class: 'fields' },
        before.map(({ element }) => element),
      ),
      main,
      details,
    ],
    content: () => readable(all()),
    checked: () => checked(all()),
    show,
    views: all,
  };
}

/** Digits as the field shows them. */
const plain = (value: unknown): unknown =>
  typeof value === 'object' && value !== null && 'digits' in value ? value.digits : value;

function readable(views: readonly FieldView[]): Record<string, Json> {
  const content: Record<string, Json> = {};
  for (const view of views) {
    const value = readOf(view);
    if (value !== undefined && !(value instanceof FieldFault)) setAt(content, view.field.path, value);
  }
  return content;
}

function checked(views: readonly FieldView[]): Record<string, Json> | null {
  const bad = views.filter((view) => {
    const value = readOf(view);
    const isMissing = value === undefined && view.field.required === true;
    view.fault(value instanceof FieldFault ? value.message : isMissing ? 'is needed' : null);
    return value instanceof FieldFault || isMissing;
  });
  bad[0]?.focus();
  return bad.length === 0 ? readable(views) : null;
}

function readOf(view: FieldView): Json | FieldFault | undefined {
  try {
    return view.read();
  } catch (error) {
    if (error instanceof FieldFault) return error;
    throw error;
  }
}

/** What tells a refusal in the words of this form. */
export const refusedOf = (fields: FieldSet, zone: string): Refused => ({
  fields: fields.views().map(({ field }) => field),
  zone,
  now: serviceNow(),
});
