/** Who charts: an identifier, typed once and kept for the session of this tab; never a name. */
import { h } from './dom.ts';
import type { Json } from './exact.ts';

const KEY = 'author';
const STAFF_SYSTEM = 'urn:drainledger:staff';

export const authorText = (): string | null => sessionStorage.getItem(KEY);

/** As the service takes it: a reference such as Practitioner/n1, or a staff number under a system of its own. */
export function authorOf(text: string): { readonly [key: string]: Json } {
  return /^[A-Za-z]+\/[A-Za-z0-9\-.]{1,64}$/.test(text)
    ? { type: 'person', reference: text }
    : { type: 'person', identifier: { system: STAFF_SYSTEM, value: text } };
}

export const forgetAuthor = (): void => sessionStorage.removeItem(KEY);

/** Asks who charts, unless that is known. @returns null where nobody said */
export function askAuthor(): Promise<string | null> {
  const known = authorText();
  return known === null ? asked() : Promise.resolve(known);
}

function asked(): Promise<string | null> {
  const field = h('input', {
    ...{ id: 'author', name: 'author', required: true, maxlength: 64 },
    ...{ pattern: '[A-Za-z0-9.\\-\\/]+', autocomplete: 'off', autocapitalize: 'off' },
    'aria-describedby': 'author-hint',
  });
  const dialog = dialogWith(field);
  document.body.append(dialog);
  dialog.showModal();
  return new Promise((resolve) => {
    dialog.addEventListener('close', () => {
      const said = dialog.returnValue === 'ok' ? field.value.trim() : '';
      dialog.remove();
      if (said !== '') sessionStorage.setItem(KEY, said);
      resolve(said === '' ? null : said);
    });
  });
}

const HINT =
  'A number or reference such as n-1042 or Practitioner/n1; no name. Kept until this tab is closed.';

const dialogWith = (field: HTMLInputElement): HTMLDialogElement =>
  h(
    'dialog',
    { 'aria-labelledby': 'author-title' },
    h(
      'form',
      { method: 'dialog' },
      h('h2', { id: 'author-title' }, 'Who is charting?'),
      h('label', { for: 'author' }, 'Your staff identifier'),
      field,
      h('p', { id: 'author-hint', class: 'hint' }, HINT),
      h(
        'p',
        { class: 'actions' },
        h('button', { class: 'main', value: 'ok' }, 'Go on'),
        h('button', { value: 'no', formnovalidate: true }, 'Cancel'),
      ),
    ),
  );
