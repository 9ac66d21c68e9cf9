/** A question that nothing goes on without: one field, in a dialog of its own. */
import { h } from './dom.ts';

export interface Question {
  readonly title: string;
  readonly label: string;
  readonly hint: string;
  /** Of the field: its name, type, pattern and so on. */
  readonly field: Readonly<Record<string, string | number>>;
}

/** @returns what was answered; null where nobody did */
export function askInDialog({ title, label, hint, field: properties }: Question): Promise<string | null> {
  const field = h('input', {
    id: 'asked',
    required: true,
    autocomplete: 'off',
    autocapitalize: 'off',
    ...properties,
    'aria-describedby': 'asked-hint',
  });
  const dialog = h(
    'dialog',
    { 'aria-labelledby': 'asked-title' },
    h(
      'form',
      { method: 'dialog' },
      h('h2', { id: 'asked-title' }, title),
      h('label', { for: 'asked' }, label),
      field,
      h('p', { id: 'asked-hint', class: 'hint' }, hint),
      h(
        'p',
        { class: 'actions' },
        h('button', { class: 'main', value: 'ok' }, 'Go on'),
        h('button', { value: 'no', formnovalidate: true }, 'Cancel'),
      ),
    ),
  );
  document.body.append(dialog);
  dialog.showModal();
  return new Promise((resolve) => {
    dialog.addEventListener('close', () => {
      const said = dialog.returnValue === 'ok' ? field.value.trim() : '';
      dialog.remove();
      resolve(said === '' ? null : said);
    });
  });
}
