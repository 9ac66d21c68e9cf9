/**
 * What the service asks of a store. Every method is one whole unit of work: either all of it is durable when the
 * promise resolves, or none of it happened. Deciding is synchronous and pure, so that an adapter may run it inside
 * its transaction.
 */
import type { Sender } from '../audit/chain.ts';
import type { Subject } from '../domain/book/book.ts';
import type { DeviceBook } from '../domain/devices/device.ts';
import type { Author, Identifier, Reference } from '../domain/vocabulary/entry.ts';
import type { Framed } from '../json/frame.ts';
import type { DeliveryStore } from './delivery-port.ts';
import type { DeviceLook, DeviceWrites, RoutedChain } from './device-port.ts';
import type { KeptStore } from './kept-port.ts';
import type { LogTree, LogWrites, StoredNotice } from './log-port.ts';
import type { UnmappedStore } from './unmapped-port.ts';

export interface AppendRequest {
  readonly entryId: string;
  readonly identifier: Identifier;
  /** Hash of what was sent; the same key with another hash is another message. */
  readonly requestHash: string;
  /** Whether what stands under the identifier already, by its receipt, is an answer though it is another message. */
  isAnswer(receipt: string): boolean;
  /** The drain that it is about; of what names a device, how to find where it goes. */
  readonly drain: string | ((devices: DeviceLook, nowMs: number) => Destination);
  /** The patient that the entry links its drain to, so that the books of both are at hand. */
  readonly linksPatient: string | null;
  /** Which client sent it, if one did. */
  readonly sentBy?: Sender | undefined;
  /** Given the books and the entry's place in the ledger, what to write. */
  decide(subject: Subject, place: Place, devices: DeviceLook): Decision;
}

export interface Destination {
  readonly stream: string;
  /** The drain whose stream that is; null: that of none. */
  readonly drain: string | null;
}

export interface Place extends Destination {
  readonly seq: number;
  readonly recordedMs: number;
  /** RFC 3339, UTC. */
  readonly recordedAt: string;
}

export type Decision = { readonly refused: object } | Write;

/** Type of an entry that is kept, and that no book holds: a reading between two that are charted. */
export const INTERIM = 'interim';

export interface Write {
  readonly type: string;
  readonly actor: Author;
  readonly effectiveAt: string;
  readonly supersedes: string | null;
  readonly body: string;
  readonly receipt: string;
  readonly issues: readonly DrainIssue[];
  /** The drain's patient after this entry, where the entry placed the drain or changed its patient. */
  readonly relinked: { readonly patientKey: string | null } | null;
  /** The reference to that patient in JSON, where the entry changed any of it. */
  readonly linked: { readonly patient: string | null } | null;
  /** What it changes of the indexes of devices. */
  readonly devices?: DeviceWrites | undefined;
  /** It counts for no drain. */
  readonly unmatched?: boolean;
  /** What is appended right after it, in the same write: all of it or nothing. */
  readonly follows?: readonly AppendRequest[];
  /** Takes the entry into the books; called once it is certain to be written. */
  enter(): void;
}

/** What one entry issues about one drain. */
export interface DrainIssue {
  readonly drain: string;
  readonly resources: readonly Framed[];
  /** Versions that a look-up by the entry they hang on would not find. */
  readonly reissued: readonly {
    readonly factKey: string;
    readonly version: number;
    readonly status: string;
  }[];
  readonly deliverable: boolean;
}

export type AppendOutcome =
  | { readonly kind: 'recorded'; readonly receipt: string }
  /** Recorded, and of no drain as yet. */
  | { readonly kind: 'unmatched'; readonly receipt: string }
  | { readonly kind: 'replayed'; readonly receipt: string }
  /** The key was used before for another message; `receipt` is the answer that message got. */
  | { readonly kind: 'conflict'; readonly receipt: string }
  | { readonly kind: 'refused'; readonly refused: object };

/** What would become of an entry: as {@link AppendOutcome}, with nothing written. */
export type Previewed =
  | Exclude<AppendOutcome, { readonly kind: 'recorded' | 'unmatched' }>
  | { readonly kind: 'would-record'; readonly receipt: string };

/** An entry of a drain that is durable; interim readings, which change nothing, are none. */
export interface Committed {
  /** Place in the whole ledger: later entries have higher ones. */
  readonly logIndex: number;
  readonly drain: string;
  readonly seq: number;
  readonly kind: string;
  /** RFC 3339, UTC. */
  readonly recordedAt: string;
}

/** Called right after a commit, in the order of the ledger, and before its senders are answered; it must not throw. */
export type CommitListener = (
  entry: Committed,
  /** The drain and all that share its patient: what is derived of any of them may have changed. */
  concerns: readonly string[],
) => void;

export interface StoredEntry {
  readonly seq: number;
  /** Place in the whole log, from 0. */
  readonly logIndex: number;
  readonly entryId: string;
  readonly recordedAt: string;
  readonly hash: string;
  /** {@link INTERIM}, or the kind of the body. */
  readonly type: string;
  /** Canonical text, as stored. */
  readonly body: string;
}

/** Where an entry that concerns a drain stands. */
export interface EntryPlace {
  readonly logIndex: number;
  /** As in {@link StoredEntry}. */
  readonly type: string;
  /** The drain that it counts for now: another one where its device was not on this; null: none. */
  readonly countsFor: string | null;
}

export interface SentEntry extends StoredEntry {
  /** The client that sent it; null where none is known. */
  readonly client: string | null;
}

/** A version of the configuration, in force from `recordedAt` until the next. */
export interface StoredConfiguration {
  /** From 1. */
  readonly seq: number;
  /** RFC 3339, UTC. */
  readonly recordedAt: string;
  readonly hash: string;
  /** Canonical text, as stored. */
  readonly body: string;
}

/** The version that says what was asked for, and whether it was written just now. */
export interface Configured {
  readonly version: StoredConfiguration;
  readonly isNew: boolean;
}

export interface UnmatchedEntry extends StoredEntry {
  /** Name of the device. */
  readonly device: string;
}

export interface DeviceReads {
  /** Undefined for a device that nobody has ever registered. */
  device(device: string): DeviceBook | undefined;
  /** Names of registered devices, in their order. */
  devices(after: string, most: number): readonly string[];
  /** Names of the devices that were ever assigned to a drain. */
  devicesOf(drain: string): readonly string[];
  /** The stream of a device: its registration, assignments and retirements. */
  deviceEntries(device: string, afterSeq: number, most: number): readonly StoredEntry[];
  /** First forms of what counts for no drain, in the order of the ledger; void ones are left out. */
  unmatched(afterLogIndex: number, most: number): readonly UnmatchedEntry[];
  unmatchedCount(): number;
  /** The chain of an entry, with the drain that it counts for now; undefined where it names no device. */
  routedChain(entryId: string): RoutedChain | undefined;
}

export interface Store extends DeliveryStore, DeviceReads, LogWrites, UnmappedStore, KeptStore {
  readonly log: LogTree;
  /**
   * Appends all of a unit or none of it; outcomes in the order of the requests. One refused request, or one conflict,
   * leaves the others of its unit unwritten.
   * @throws {StoreBusy} when too much is queued already @throws {StoreFailed} when it could not be made durable
   */
  append(unit: readonly AppendRequest[]): Promise<readonly AppendOutcome[]>;
  /** What an entry would be answered, without writing it. */
  preview(request: AppendRequest): Previewed;
  /** Tells of every entry that becomes durable from now on. @returns how to stop listening */
  listen(listener: CommitListener): () => void;
  /** Entries of drains later than a place in the ledger, in order. */
  committedAfter(logIndex: number, most: number): readonly Committed[];
  /** Place of the newest entry; -1 while there is none. */
  newestLogIndex(): number;
  /**
   * Appends a version of the configuration, in a stream of its own, unless the newest one says the same to the letter.
   * @param body canonical text
   * @throws as {@link append}
   */
  configure(body: string): Promise<Configured>;

  /**
   * The books of a drain and of all drains of its patient, as of what is durable; without it when there is no such drain.
   * They hold for this turn of the event loop: then the next entries are written into them.
   */
  books(drain: string): Subject;
  /** As {@link books}, but perhaps no more of their charts than the newest part: to look further back throws `BeyondRecent`. */
  recentBooks(drain: string): Subject;
  /** Whether an entry was ever recorded, by its name. */
  isRecorded(entryId: string): boolean;
  /** What says that an entry of that name was lawfully erased, or a drain, which is named after its placement. */
  erasureOf(name: string): Pick<StoredNotice, 'logIndex' | 'recordedAt'> | null;
  entries(drain: string, afterSeq: number, most: number): readonly StoredEntry[];
  /** Where everything that stands in the stream of a drain is, and what other streams hold that counts for it, in the order of the log. */
  places(drain: string): readonly EntryPlace[];
  /** Entries at places of the log, in their order. */
  entriesAt(logIndexes: readonly number[]): readonly SentEntry[];
  drains(after: string, most: number): readonly string[];
  /** Whom a drain is linked to now, or was with an entry of the log; null: nobody, or no such drain. */
  patientOf(drain: string, logIndex?: number): Reference | null;
  /** The same, for what is noted beside an answer: where a write is under way, whom it was linked to before. */
  durablePatientOf(drain: string): Reference | null;
  /** All versions of the configuration, oldest first. */
  configurations(): readonly StoredConfiguration[];
  /** All versions of a resource in order; empty when it was never issued. */
  versions(type: string, drain: string, factKey: string, resourceId: string): readonly string[];
  /** @throws when the store cannot write now */
  check(): void;
  close(): Promise<void>;
}

/** The queue is full: try again after `retryAfterS` seconds. */
export class StoreBusy extends Error {
  readonly retryAfterS: number;
  constructor(retryAfterS: number) {
    super('more is queued than can be written in time');
    this.retryAfterS = retryAfterS;
  }
}

/** Nothing of the unit was made durable. */
export class StoreFailed extends Error {}

/** The store is only read until a person has looked into it. Says why, and what mends it, in sentences. */
export class StoreReadOnly extends Error {}
