/** Messages that nothing could be made of: kept whole in a stream of their own until somebody has seen to them. */
import type { Author } from '../domain/vocabulary/entry.ts';

export interface UnmappedMessage {
  /** Hash of what was sent. */
  readonly hash: string;
  /** Canonical text: the message, who sent it, and why nothing could be made of it. */
  readonly body: string;
}

export interface StoredUnmapped {
  /** Place in the stream, from 1. */
  readonly seq: number;
  readonly hash: string;
  /** RFC 3339, UTC. */
  readonly recordedAt: string;
  readonly body: string;
}

/** What became of one. */
export interface Settled {
  readonly type: 'taken' | 'dismissed';
  readonly actor: Author | { readonly type: 'service' };
  /** Canonical text. */
  readonly body: string;
}

export interface UnmappedStore {
  /** Keeps a message, unless it is kept already. @returns its place in the stream */
  keepUnmapped(message: UnmappedMessage): Promise<number>;
  /** Says what became of the message of that hash. @returns false where none of it waits */
  settleUnmapped(hash: string, settled: Settled): Promise<boolean>;
  /** Those that wait, oldest first. */
  unmapped(afterSeq: number, most: number): readonly StoredUnmapped[];
  /** Whether a message of that hash waits. */
  isUnmapped(hash: string): boolean;
  /** How many wait. */
  unmappedCount(): number;
}
