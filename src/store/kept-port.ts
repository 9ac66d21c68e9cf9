/** The part of the store that answers without a book where something was kept beside the ledger. */
import type { DrainSums } from '../domain/book/drain-sums.ts';

/** What took long to work out, kept beside the ledger and believed only while all that it rests on is as it was. */
export interface KeptStore {
  /** What all derived values of a drain rest on, as one text that changes with any of it; null: there is no such drain. */
  footing(drain: string): string | null;
  /** The running sums of a drain; where its chart left memory, what was kept of them. Null: there is no such drain. */
  sums(drain: string): DrainSums | null;
  /** Those of several weeks, where they were kept when the chart left memory; null where none are that may be believed. */
  sumsOfWeeks(drain: string): DrainSums | null;
  /** Other drains that are linked to the patient of a drain now, in order. */
  siblings(drain: string): readonly string[];
  /** Text that was kept of a drain; null where none is that may be believed. */
  keptRow(drain: string): string | null;
  keepRow(drain: string, text: string): void;
}
