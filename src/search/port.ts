/** What may be asked of the search index. It answers with texts that are ready to be sent. */

import type { Reference } from '../domain/vocabulary/entry.ts';
import type { IssueCode } from '../fhir/outcome.ts';
import type { Pair } from '../fhir/search/query.ts';

export interface Ask {
  readonly kind: 'search' | 'read' | 'history' | 'lastn' | 'stats';
  /** Resource type. */
  readonly type: string;
  readonly pairs: readonly Pair[];
  /** Base of our FHIR URLs, without a slash at the end. */
  readonly base: string;
  readonly lenient: boolean;
  /** What the client is confined to, whatever it asks; null: nothing. */
  readonly within: Confines | null;
  /** Types that the client may read: no other comes along with what is found. */
  readonly readable: readonly string[];
  readonly nowMs: number;
}

/** All that is found names the patient, and hangs on drains that are linked to them now. */
export interface Confines {
  readonly patient: Reference;
  /** The search parameter that says so. */
  readonly pair: Pair;
}

export type Answer =
  | Told
  | { readonly status: number; readonly code: IssueCode; readonly diagnostics: string };

export interface Told {
  /** JSON text of a resource. */
  readonly text: string;
  /** Drains that it is about. */
  readonly drains: readonly string[];
}

export interface SearchIndex {
  /** Answers from all that was committed before it was asked. @throws {SearchUnavailable} */
  ask(ask: Ask): Promise<Answer>;
  close(): Promise<void>;
}

/** The index is being made, or its thread had to be started again: ask again in a moment. */
export class SearchUnavailable extends Error {
  readonly retryAfterS = 2;
}
