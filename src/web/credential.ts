/** The token or key that the service knows the page by, where it asks for one; kept for the session of this tab. */
import { askInDialog } from './dialog.ts';

const KEY = 'token';

export function credentialHeaders(): Record<string, string> {
  const token = sessionStorage.getItem(KEY);
  return token === null ? {} : { authorization: `Bearer ${token}` };
}

let asking: Promise<boolean> | null = null;

/** Asks once, however many answers wait for it. @returns whether there is one to try now */
export function askCredential(): Promise<boolean> {
  asking ??= askInDialog({
    title: 'Who may come in?',
    label: 'Access token or key',
    hint: 'The service asks for one. It is kept until this tab is closed.',
    field: { name: 'token', type: 'password' },
  }).then((said) => {
    asking = null;
    if (said !== null) sessionStorage.setItem(KEY, said);
    return said !== null;
  });
  return asking;
}
