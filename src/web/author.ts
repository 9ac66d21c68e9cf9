/** Who charts: an identifier, typed once and kept for the session of this tab; never a name. */
import { askInDialog } from './dialog.ts';
import type { Json } from './exact.ts';

const KEY = 'author';
const STAFF_SYSTEM = 'urn:drainledger:staff';

/** Of types that can chart; a number of the house may hold a slash too. */
const REFERENCE =
  /^(?:Practitioner|PractitionerRole|Organization|Patient|RelatedPerson)\/[A-Za-z0-9\-.]{1,64}$/;

export const authorText = (): string | null => sessionStorage.getItem(KEY);

/** As the service takes it: a reference such as Practitioner/n1, or a staff number under a system of its own. */
export function authorOf(text: string): { readonly [key: string]: Json } {
  return REFERENCE.test(text)
    ? { type: 'person', reference: text }
    : { type: 'person', identifier: { system: STAFF_SYSTEM, value: text } };
}

export const forgetAuthor = (): void => sessionStorage.removeItem(KEY);

/** Asks who charts, unless that is known. @returns null where nobody said */
export function askAuthor(): Promise<string | null> {
  const known = authorText();
  return known === null ? asked() : Promise.resolve(known);
}

async function asked(): Promise<string | null> {
  const said = await askInDialog({
    title: 'Who is charting?',
    label: 'Your staff identifier',
    hint: 'A number or reference such as n-1042 or Practitioner/n1; no name. Kept until this tab is closed.',
    field: { name: 'author', maxlength: 64, pattern: '[A-Za-z0-9.\\-\\/]+' },
  });
  if (said !== null) sessionStorage.setItem(KEY, said);
  return said;
}
