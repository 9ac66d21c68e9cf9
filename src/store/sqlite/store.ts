import { getHeapStatistics } from 'node:v8';
import { type Policy, reachOf } from '../../domain/advisories/policy.ts';
import type { AppendRequest, CommitListener, Store } from '../port.ts';
import { createPatientReader } from './accesses.ts';
import { createAppender } from './append.ts';
import { createBookShelf, type Room } from './book-shelf.ts';
import { createBookReader, IS_DRAIN } from './books.ts';
import { createConfigurationReader } from './configurations.ts';
import { createEventLog } from './delivery-events.ts';
import { createDeliverySide } from './delivery-side.ts';
import { createDeviceReads } from './device-reads.ts';
import { createDeviceShelf } from './devices.ts';
import { createFeedReader } from './feed.ts';
import { createFrameReader } from './frames.ts';
import { createGroupCommit, type GroupCommit } from './group-commit.ts';
import { createKeptSide } from './kept-side.ts';
import { createLanes } from './lanes.ts';
import { migrate } from './migrate.ts';
import { openReader, openWriter } from './open.ts';
import { createOwnEntryWriter } from './own-entries.ts';
import { createLogReads, createOwnWrites, watchGrowth } from './own-writes.ts';
import { claimOwnership } from './owner.ts';
import { createPlaceReads } from './places.ts';
import { type EntryRow, storedEntry } from './stored-entry.ts';
import { createTidier } from './tidy.ts';
import { createErasureReader } from './tombstones.ts';
import { createTree } from './tree.ts';
import { createUnmappedReader } from './unmapped.ts';

export interface SqliteStoreOptions {
  readonly file: string;
  readonly migrationsFolder: string;
  /** Name of this log, part of every entry's hash. */
  readonly origin: string;
  readonly targets: readonly string[];
  /** What is in force: asked whenever books are read, so it may be worked out from the store once that is open. */
  policy(): Policy;
  readonly mostQueued: number;
  /** Of the books in memory. Default: what fits in half of the heap that the process may have. */
  readonly room?: Room;
  now(): number;
  onFatal(error: Error): void;
}

const GROUP = {
  mostInGroup: 200,
  longestMs: 40,
  longestTurnMs: 1,
  clock: () => performance.now(),
} as const;
const HEAP = getHeapStatistics().heap_size_limit;
/**
 * At some 3.3 kB an entry with its row 66 MB, however large the heap may grow: the charts of a ward that people look at. In
 * all a third of the heap: whoever's books leave waits while they are read whole.
 */
const ROOM: Room = {
  withRows: Math.min(20_000, Math.floor(HEAP / 40_000)),
  entries: Math.floor(HEAP / 10_000),
};

/**
 * Opens the ledger in one SQLite file, which this process then owns.
 * @throws when another process owns it, its settings are not durable, or its schema is newer than this program
 */
export function openSqliteStore(options: SqliteStoreOptions, openTree = createTree): Store {
  const owner = claimOwnership(options.file);
  const writer = openWriter(options.file);
  migrate(writer, options.migrationsFolder);
  const reader = openReader(options.file);
  const { shelf, ...kept } = openShelf(writer, options);
  const events = createEventLog(writer, createOwnEntryWriter(writer, options));
  const lanes = createLanes(writer, options.targets);
  const devices = createDeviceShelf(writer);
  const appender = createAppender(writer, { ...options, shelf, lanes, devices });
  const tree = openTree(writer);
  // A ledger from before there was a tree, or whose tree was emptied, gets it here.
  writer.transaction(() => tree.grow()).immediate();
  const growth = watchGrowth(tree);
  const listeners = new Set<CommitListener>();
  const group = createGroupCommit(writer, {
    ...GROUP,
    mostQueued: options.mostQueued,
    beforeCommit() {
      if (events.seal()) appender.endMoved();
      tree.grow();
    },
    onCommit() {
      for (const { entry, concerns } of appender.takeWritten())
        for (const listener of listeners) listener(entry, concerns);
    },
    onSettled: growth.look,
    onIdle: createTidier(writer, options.onFatal),
    onRollback() {
      appender.forget();
      events.forget();
      tree.forget();
    },
    onFatal: options.onFatal,
  });
  return {
    append: (unit) => group.submit(() => appender.append(unit)),
    listen(listener) {
      listeners.add(listener);
      return () => listeners.delete(listener);
    },
    ...createFeedReader(reader),
    ...createOwnWrites(writer, options, { appender, tree, group }),
    log: { ...createLogReads(reader), watch: growth.watch },
    configurations: createConfigurationReader(reader),
    erasureOf: createErasureReader(reader),
    ...createUnmappedReader(reader),
    ...createDeliverySide(writer, reader, { lanes, note: events.note }, group),
    ...createReads(reader, group, {
      preview: (request: AppendRequest) => appender.preview(request),
      ...createDeviceReads(reader, devices),
      ...kept.reads,
      check: () => void writer.exec('BEGIN IMMEDIATE; COMMIT'),
    }),
    async close() {
      await group.close();
      kept.close();
      reader.close();
      writer.pragma('wal_checkpoint(TRUNCATE)');
      writer.close();
      owner.release();
    },
  };
}

type Reads = Readonly<Record<string, (...given: never[]) => unknown>>;

/** @param ofWriting reads of what jobs write to; those told beside them in an answer wait for the group as they do */
function createReads<T extends Reads>(
  reader: ReturnType<typeof openReader>,
  group: GroupCommit,
  ofWriting: T,
) {
  const { versions, ...reads } = createLedgerReads(reader);
  const patientOf = createPatientReader(reader);
  return {
    ...afterGroup(group, { ...ofWriting, ...reads, ...createPlaceReads(reader), patientOf }),
    versions,
    durablePatientOf: patientOf,
  };
}

/** The same reads, each of which ends the group under way first, so that all of one answer is durable and of one moment. */
function afterGroup<T extends Reads>(group: GroupCommit, reads: T): T {
  const waiting = Object.entries(reads).map(([name, read]) => [
    name,
    (...given: never[]) => {
      group.settle();
      return read(...given);
    },
  ]);
  return Object.fromEntries(waiting) as T;
}

/** The books in memory, and what is kept of those that leave it. */
function openShelf(writer: ReturnType<typeof openWriter>, options: SqliteStoreOptions) {
  const { file, policy, room = ROOM } = options;
  const kept = createKeptSide(file, writer, policy);
  const shelf = createBookShelf(createBookReader(writer, policy), room, kept.leaves, () => reachOf(policy()));
  return {
    shelf,
    reads: {
      // Between groups the shelf holds just what is committed, so reads need no fold of their own. Books change where
      // they stand: whoever reads on in a later turn of the event loop takes them anew.
      books: (drain: string) => shelf.take(drain, null),
      recentBooks: (drain: string) => shelf.takeRecent(drain, null),
      ...kept.reads(shelf),
    },
    close() {
      shelf.empty();
      kept.close();
    },
  };
}

function createLedgerReads(
  reader: ReturnType<typeof openReader>,
): Pick<Store, 'entries' | 'isRecorded' | 'drains' | 'versions'> {
  const entries = reader.prepare<[object], EntryRow>(
    `SELECT seq, log_index, envelope, hash, body FROM ledger JOIN payload USING (log_index)
     WHERE stream = @drain AND seq > @afterSeq AND ${IS_DRAIN} ORDER BY seq LIMIT @most`,
  );
  const drains = reader
    .prepare<[string, number], string>('SELECT drain FROM drain WHERE drain > ? ORDER BY drain LIMIT ?')
    .pluck();
  const recorded = reader.prepare<[string], number>('SELECT 1 FROM identity WHERE entry_id = ?').pluck();
  const issuedWith = reader
    .prepare<[object], string>(
      `SELECT resources FROM issued
       WHERE drain = @drain AND log_index IN (
         SELECT log_index FROM identity WHERE entry_id = @anchor
         UNION SELECT log_index FROM reissue WHERE drain = @drain AND fact_key = @factKey)
       ORDER BY log_index`,
    )
    .pluck();
  const textsIn = createFrameReader(reader);
  return {
    isRecorded: (entryId) => recorded.get(entryId) !== undefined,
    entries: (drain, afterSeq, most) => entries.all({ drain, afterSeq, most }).map(storedEntry),
    drains: (after, most) => drains.all(after, most),
    versions(type, drain, factKey, resourceId) {
      const anchor = factKey.slice(factKey.lastIndexOf('.') + 1);
      const opening = `{"resourceType":"${type}","id":"${resourceId}",`;
      const texts = issuedWith.all({ drain, anchor, factKey }).flatMap(textsIn);
      return texts.filter((text) => text.startsWith(opening));
    },
  };
}
