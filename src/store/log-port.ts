/** What the service asks of a store about its log as a whole: the tree over all entries, and what was said of it. */
import type { Client } from '../audit/chain.ts';
import type { WitnessWord } from '../audit/cosignature.ts';
import type { Hash, Head } from '../audit/merkle.ts';
import type { Author } from '../domain/vocabulary/entry.ts';

/** The tree, as of what is durable. Entries are counted from 0 in the order of the log. */
export interface LogTree {
  size(): number;
  /** @throws {RangeError} beyond the size, as all below */
  rootAt(size: number): Hash;
  inclusion(index: number, size: number): readonly Hash[];
  consistency(from: number, to: number): readonly Hash[];
  /** Text of the newest checkpoint that is kept, with what witnesses said of it, as all below. */
  newestCheckpoint(): string | undefined;
  /** Of the newest that any witness cosigned. */
  newestCosigned(): string | undefined;
  /** Of the one of so many entries. */
  checkpointAt(size: number): string | undefined;
  /** Of the newest that this witness cosigned. @param witness its verifier key */
  newestBy(witness: string): string | undefined;
  /** All notices, oldest first. */
  notices(): readonly StoredNotice[];
  /** What is wrong first with the newest entries, recomputed from what is stored of them; null where nothing is. */
  newestFault(count: number): string | null;
  /** Calls back whenever entries have become durable, with the size since, until what it gives is called. */
  watch(onGrown: (size: number) => void): () => void;
}

/** An entry about the log itself, in a stream of its own: a key that signs checkpoints, or a restore that was accepted. */
export interface Notice {
  readonly type: 'checkpoint-key' | 'restored';
  /** Who says so. */
  readonly actor: Author | { readonly type: 'service' };
  /** Canonical text. */
  readonly body: string;
}

export interface StoredNotice {
  readonly logIndex: number;
  readonly type: string;
  /** RFC 3339, UTC. */
  readonly recordedAt: string;
  readonly body: string;
}

/** Whole drains whose content is to be erased for ever. */
export interface ErasureOrder {
  readonly drains: readonly string[];
  /** Places in the log of messages that nothing could be made of, and that are about them or their patient. */
  readonly messages: readonly number[];
  readonly reason: string;
}

export interface ErasureOutcome {
  /** Place of the entry that says so. */
  readonly logIndex: number;
  /** Entries whose payloads are gone. */
  readonly entries: number;
}

export interface LogWrites {
  /** Appends an entry about the log itself. */
  notice(notice: Notice): Promise<StoredNotice>;
  /** Appends that whole closed drains were archived, in a stream of its own. @param body canonical text */
  archived(actor: Author, body: string): Promise<StoredNotice>;
  /**
   * Removes all content of drains but for what tells that it was there, and appends a tombstone that names it. Their drains
   * are none any more, and nothing is taken under the identifiers of their entries again.
   */
  erase(actor: Author, order: ErasureOrder): Promise<ErasureOutcome>;
  /** Appends that the log runs, in a stream of its own, after all that somebody waits for. @param body canonical text */
  heartbeat(body: string): Promise<void>;
  /** Appends accesses, all or none, in the chain of their client's day. @param bodies canonical texts */
  access(actor: Client, bodies: readonly string[]): Promise<void>;
  /**
   * Signs the tree as it is then and keeps what was signed, unless that was done at this size already.
   * @returns the text; null where the newest one says it already
   */
  checkpoint(sign: (head: Head) => string): Promise<string | null>;
  /** Keeps what witnesses said of the checkpoint of so many entries; what one said of it before stays. */
  cosign(size: number, said: readonly WitnessWord[]): Promise<void>;
}
