import type { MomentOf } from './date-range.ts';

/** What the reading of a search needs to know beside the search itself. */
export interface Reading {
  /** Base of our own FHIR URLs, without a slash at the end. */
  readonly base: string;
  readonly zone: MomentOf;
  /** Leaves out parameters that are not known, and says so, in place of refusing (Prefer: handling=lenient). */
  readonly lenient: boolean;
  /** Parameters that the caller takes itself, such as `max` of $lastn. */
  readonly others: readonly string[];
}
