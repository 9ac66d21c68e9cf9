/** What may be asked of the search index. It answers with texts that are ready to be sent. */

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
  /** A parameter that all that is found must match as well, whatever was asked: what the client is confined to. */
  readonly within: Pair | null;
  /** Types that the client may read: no other comes along with what is found. */
  readonly readable: readonly string[];
  readonly nowMs: number;
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
