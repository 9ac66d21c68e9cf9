import type { Author, EntryBody, Identifier } from './entry.ts';

/**
 * Says which entries that named a device count for a drain from now on, and which no longer: something that was charted
 * of the device's whereabouts moved them. They stay where they stand in the ledger, and are named by the identifier of
 * their first form.
 */
export interface Rerouted {
  readonly kind: 'rerouted';
  readonly identifier: Identifier;
  readonly author: Author;
  readonly effective_at: string;
  readonly device: Identifier;
  /** The entry that moved them. */
  readonly because: Identifier;
  readonly reason: string;
  readonly entered: readonly Identifier[];
  readonly left: readonly Identifier[];
}

/** What an entry of a drain's stream may hold. */
export type StreamBody = EntryBody | Rerouted;
