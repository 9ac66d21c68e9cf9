/** Lists that are read a page at a time: each page says what the next one begins after. */
import { z } from 'zod';
import { MEND } from '../../intake/native/quantity.ts';

export const afterNumber = z
  .string()
  .regex(/^[0-9]{1,15}$/, { error: `is no sequence number${MEND}send the next_after of the page before` })
  .meta({ description: '`next_after` of the page before.' });
export const afterName = z.string().max(64).meta({ description: '`next_after` of the page before.' });

/** @param found one more than a page holds, where there are more @param placeOf what the page after one begins after */
export function pageOf<T, K>(found: readonly T[], most: number, placeOf: (last: T) => K) {
  const page = found.slice(0, most);
  const last = page.at(-1);
  return { page, next_after: found.length > most && last !== undefined ? placeOf(last) : null };
}
