/** One field of a form: what is typed or chosen, what it was last, and what is wrong with it. */
import { freshId, h } from './dom.ts';
import { type Json, readDigits } from './exact.ts';
import { type Field, optionsOf } from './field.ts';
import { momentsOf, momentText, wallText } from './time.ts';

export interface FieldView {
  readonly field: Field;
  readonly element: HTMLElement;
  /** What is to be sent; undefined where nothing was entered. @throws {FieldFault} */
  read(): Json | undefined;
  show(value: unknown): void;
  fault(words: string | null): void;
  focus(): void;
}

/** What is wrong with a field before it is sent. */
export class FieldFault extends Error {}

export interface Shown {
  /** What was charted last, in words, and when. */
  readonly last: string | null;
  readonly zone: string;
}

export function fieldView(field: Field, shown: Shown): FieldView {
  const fault = h('p', { class: 'fault', id: freshId('fault'), hidden: true });
  const last = shown.last === null ? null : h('p', { class: 'last', id: freshId('last') }, shown.last);
  const control = controlOf(field, shown.zone, [last?.id, fault.id].filter(Boolean).join(' '));
  const tell = (words: string | null): void => {
    fault.textContent = words ?? '';
    fault.hidden = words === null;
    control.invalid(words !== null);
    if (words !== null) unfold();
  };
  const element = h('div', { class: `field ${field.type}` }, control.elements, last, fault);
  element.addEventListener('input', () => tell(null));
  /** What is wrong must be seen. */
  function unfold(): void {
    const folded = element.closest('details');
    if (folded !== null) folded.open = true;
  }
  return { field, element, read: control.read, show: control.show, fault: tell, focus: control.focus };
}

interface Control {
  readonly elements: readonly HTMLElement[];
  read(): Json | undefined;
  show(value: unknown): void;
  invalid(isInvalid: boolean): void;
  focus(): void;
}

function controlOf(field: Field, zone: string, describedBy: string): Control {
  switch (field.type) {
    case 'number':
      return numberControl(field, describedBy);
    case 'choice':
      return choiceControl(field, field.options, field.isNumber === true ? 'number' : 'text', describedBy);
    case 'yes-no':
      return choiceControl(field, optionsOf(field), 'boolean', describedBy);
    case 'select':
      return selectControl(field, field.options, describedBy);
    case 'moment':
      return momentControl(field, zone, describedBy);
    case 'text':
    case 'lines':
      return textControl(field, describedBy);
  }
}

const labelOf = ({ label, required }: Field, id: string, unit?: string): HTMLLabelElement =>
  h(
    'label',
    { for: id },
    label,
    unit === undefined ? null : h('span', { class: 'unit' }, ` ${unit}`),
    required === true && ' (needed)',
  );

type Input = HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement;

const inputControl = (label: HTMLElement, input: Input, read: (text: string) => Json): Control => ({
  elements: [label, input],
  read: () => (input.value.trim() === '' ? undefined : read(input.value.trim())),
  show(value) {
    input.value = Array.isArray(value) ? value.join(', ') : String(value ?? '');
  },
  invalid: (isInvalid) => input.setAttribute('aria-invalid', String(isInvalid)),
  focus: () => input.focus(),
});

function numberControl(field: Field & { readonly type: 'number' }, describedBy: string): Control {
  const id = freshId('field');
  const isSigned = field.isSigned === true;
  const input = h('input', {
    id,
    name: field.path,
    inputmode: isSigned ? 'text' : 'decimal',
    autocomplete: 'off',
    'aria-describedby': describedBy,
  });
  const control = inputControl(labelOf(field, id, field.unit), input, (text) => {
    const typed = readDigits(text, isSigned);
    if ('fault' in typed) throw new FieldFault(`${text} ${typed.fault}`);
    return typed;
  });
  input.addEventListener('change', () => {
    const typed = readDigits(input.value, isSigned);
    if ('digits' in typed) input.value = typed.digits;
  });
  return control;
}

/** Buttons side by side, of which one is pressed; where it need not be charted, the first says that it is not. */
function choiceControl(
  field: Field,
  options: readonly (readonly [string, string])[],
  as: 'text' | 'number' | 'boolean',
  describedBy: string,
): Control {
  const name = freshId(field.path);
  const none = field.required === true ? [] : [['', 'not charted'] as const];
  const inputs = [...none, ...options].map(([value, words]) => {
    const input = h('input', { type: 'radio', name, value, checked: value === '' });
    return {
      input,
      element: h('label', { class: value === '' ? 'none' : undefined }, input, h('span', {}, words)),
    };
  });
  const legend = h('legend', {}, field.label, field.required === true && ' (needed)');
  const group = h(
    'fieldset',
    { 'aria-describedby': describedBy, 'data-field': field.path },
    legend,
    h(
      'div',
      { class: 'choices' },
      inputs.map(({ element }) => element),
    ),
  );
  return {
    elements: [group],
    read() {
      const value = inputs.find(({ input }) => input.checked)?.input.value ?? '';
      if (value === '') return undefined;
      if (as === 'number') return { digits: value };
      return as === 'boolean' ? value === 'true' : value;
    },
    show(value) {
      for (const { input } of inputs) input.checked = input.value === String(value ?? '');
    },
    invalid: (isInvalid) => group.setAttribute('aria-invalid', String(isInvalid)),
    focus: () => inputs[0]?.input.focus(),
  };
}

function selectControl(
  field: Field,
  options: readonly (readonly [string, string])[],
  describedBy: string,
): Control {
  const id = freshId('field');
  const input = h(
    'select',
    { id, name: field.path, 'aria-describedby': describedBy },
    h('option', { value: '' }, field.required === true ? 'choose…' : 'not charted'),
    options.map(([value, words]) => h('option', { value }, words)),
  );
  return inputControl(labelOf(field, id), input, (text) => text);
}

function textControl(field: Field & { readonly type: 'text' | 'lines' }, describedBy: string): Control {
  const id = freshId('field');
  const properties = {
    id,
    name: field.path,
    maxlength: field.most,
    autocomplete: 'off',
    'aria-describedby': describedBy,
  };
  const input = field.type === 'lines' ? h('textarea', { ...properties, rows: 3 }) : h('input', properties);
  const read = (text: string): Json =>
    field.isList === true
      ? text
          .split(',')
          .map((each) => each.trim())
          .filter((each) => each !== '')
      : text;
  return inputControl(labelOf(field, id), input, read);
}

/**
 * A wall-clock time of the facility, on a clock of 24 hours whatever the browser's own habits; where the clock shows it
 * twice, the first of the two unless the box is ticked.
 */
function momentControl(field: Field, zone: string, describedBy: string): Control {
  const id = freshId('field');
  const named = (part: string) => ({ name: `${field.path}.${part}`, 'aria-describedby': describedBy });
  const clock = h('input', { id, ...named('clock'), inputmode: 'numeric', autocomplete: 'off', size: 5 });
  const date = h('input', { ...named('date'), type: 'date', 'aria-label': `${field.label}, date` });
  const second = h('input', { type: 'checkbox' });
  const which = h(
    'label',
    { class: 'check', hidden: true },
    second,
    ' the second time that the clock shows it',
  );
  const wall = (): string => `${date.value}T${clockOf(clock.value)}`;
  const notice = () => {
    which.hidden = momentsOf(wall(), zone).length < 2;
  };
  for (const input of [clock, date]) input.addEventListener('input', notice);
  return {
    elements: [labelOf(field, id, 'hh:mm'), h('div', { class: 'clock' }, clock, date), which],
    read() {
      if (clock.value.trim() === '') return undefined;
      const moments = momentsOf(wall(), zone);
      const at = second.checked && !which.hidden ? moments.at(-1) : moments[0];
      if (at === undefined) throw new FieldFault(`is no time that the clock in ${zone} shows`);
      return momentText(at, zone);
    },
    show(value) {
      if (typeof value !== 'string') return;
      const at = Date.parse(value);
      [date.value = '', clock.value = ''] = wallText(at, zone).split('T');
      notice();
      second.checked = momentsOf(wall(), zone).indexOf(at) > 0;
    },
    invalid: (isInvalid) => clock.setAttribute('aria-invalid', String(isInvalid)),
    focus: () => clock.focus(),
  };
}

/** '0905', '905' and '9:05' as '09:05'. */
function clockOf(text: string): string {
  const [, hour = '', minute = ''] = /^(\d{1,2})[:.]?(\d{2})$/.exec(text.trim()) ?? [];
  return `${hour.padStart(2, '0')}:${minute}`;
}
