/** An entry that changes what its sender sent before, by whichever door both came. */
import type { Content, EntryBody, Identifier } from '../domain/vocabulary/entry.ts';

/** What every change says. */
export interface Change extends Pick<EntryBody, 'identifier' | 'author' | 'effective_at' | 'received'> {
  /** The entry in whose place it stands. */
  readonly target: Identifier;
  readonly reason: string;
}

export const withdrawalBy = (change: Change): EntryBody => ({ ...change, kind: 'entered-in-error' });

/** @param asSent values of the replacement as they were sent, by their places in it */
export function correctionBy(change: Change, replacement: Content, asSent: EntryBody['as_sent']): EntryBody {
  const moved = asSent?.map((each) => ({ ...each, field: `/replacement${each.field}` }));
  const converted = moved === undefined ? {} : { as_sent: moved };
  return { ...change, ...converted, kind: 'corrected', replacement };
}
