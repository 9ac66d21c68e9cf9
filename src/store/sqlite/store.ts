import type { Policy } from '../../domain/policy.ts';
import type { DeliveryStore } from '../delivery-port.ts';
import type { CommitListener, Store, StoredEntry } from '../port.ts';
import { createAppender } from './append.ts';
import { createBookReader, createBookShelf, IS_DRAIN } from './books.ts';
import { createConfigurationReader, createConfigurationWriter } from './configurations.ts';
import { createDeliveryWriter } from './deliveries.ts';
import { createEventWriter, noteTargets } from './delivery-events.ts';
import { createDeliveryOrders } from './delivery-orders.ts';
import { createDeliveryReader } from './delivery-reads.ts';
import { createFeedReader } from './feed.ts';
import { createFrameReader } from './frames.ts';
import { createGroupCommit, type GroupCommit } from './group-commit.ts';
import { createLanes, type Lanes } from './lanes.ts';
import { migrate } from './migrate.ts';
import { openReader, openWriter } from './open.ts';
import { claimOwnership } from './owner.ts';

export interface SqliteStoreOptions {
  readonly file: string;
  readonly migrationsFolder: string;
  /** Name of this log, part of every entry's hash. */
  readonly origin: string;
  readonly targets: readonly string[];
  /** What is in force: asked whenever books are read, so it may be worked out from the store once that is open. */
  policy(): Policy;
  readonly mostQueued: number;
  now(): number;
  onFatal(error: Error): void;
}

const MOST_IN_GROUP = 200;
const MOST_ENTRIES_IN_MEMORY = 100_000;

/**
 * Opens the ledger in one SQLite file, which this process then owns.
 * @throws when another process owns it, its settings are not durable, or its schema is newer than this program
 */
export function openSqliteStore(options: SqliteStoreOptions): Store {
  const owner = claimOwnership(options.file);
  const writer = openWriter(options.file);
  migrate(writer, options.migrationsFolder);
  const reader = openReader(options.file);
  const shelf = createBookShelf(createBookReader(writer, options.policy), MOST_ENTRIES_IN_MEMORY);
  noteTargets(writer, options.targets, options.now);
  const lanes = createLanes(writer, options.targets);
  const appender = createAppender(writer, { ...options, shelf, lanes });
  const configure = createConfigurationWriter(writer, options);
  const listeners = new Set<CommitListener>();
  const group = createGroupCommit(writer, {
    mostInGroup: MOST_IN_GROUP,
    mostQueued: options.mostQueued,
    onCommit() {
      for (const { entry, concerns } of appender.takeWritten())
        for (const listener of listeners) listener(entry, concerns);
    },
    onRollback: () => appender.forget(),
    onFatal: options.onFatal,
  });
  return {
    append: (unit) => group.submit(() => appender.append(unit)),
    preview: (request) => appender.preview(request),
    listen(listener) {
      listeners.add(listener);
      return () => listeners.delete(listener);
    },
    ...createFeedReader(reader),
    configure: (body) =>
      group.submit(() => {
        const configured = configure(body);
        // The appender keeps the end of the log in memory, and that has moved.
        if (configured.isNew) appender.forget();
        return configured;
      }),
    configurations: createConfigurationReader(reader),
    // Between groups the shelf holds just what is committed, so reads need no fold of their own.
    books: (drain) => shelf.take(drain, null),
    ...createReads(reader),
    ...createDeliverySide(writer, reader, lanes, group),
    check() {
      writer.exec('BEGIN IMMEDIATE');
      writer.exec('COMMIT');
    },
    async close() {
      await group.close();
      reader.close();
      writer.pragma('wal_checkpoint(TRUNCATE)');
      writer.close();
      owner.release();
    },
  };
}

function createDeliverySide(
  writer: ReturnType<typeof openWriter>,
  reader: ReturnType<typeof openReader>,
  lanes: Lanes,
  group: GroupCommit,
): DeliveryStore {
  const note = createEventWriter(writer);
  const deliveries = createDeliveryWriter(writer, lanes, note);
  const orders = createDeliveryOrders(writer, lanes, note);
  const { isDue, ...reads } = createDeliveryReader(reader);
  const rebase = writer.prepare(
    `UPDATE lane SET due_ms = min(@latest, iif(state = 'waiting', due_ms, max(due_ms, @uncertain)))
     WHERE target = @target AND state <> 'idle' AND (state <> 'waiting' OR due_ms > @latest)`,
  );
  return {
    ...reads,
    claim(target, now, lapses, most) {
      if (!isDue(target, now)) return Promise.resolve([]);
      return group.submit(() => deliveries.claim(target, now, lapses, most));
    },
    extend: (delivery, lapses) => group.submit(() => deliveries.extend(delivery, lapses)),
    settle: (delivery, settlement, now) => group.submit(() => deliveries.settle(delivery, settlement, now)),
    rebaseWaits: (target, uncertain, latest) =>
      group.submit(() => void rebase.run({ target, uncertain, latest })),
    noteTarget: (target, kind, atMs, outcome, by) =>
      group.submit(() => note({ target, kind, atMs, outcome, by })),
    requeue: (filter, by, now) => group.submit(() => orders.requeue(filter, by, now)),
    skip: (delivery, by, now) => group.submit(() => orders.skip(delivery, by, now)),
    replay: (target, drain, period, by, now) =>
      group.submit(() => orders.replay(target, drain, period, by, now)),
  };
}

interface EntryRow {
  readonly seq: number;
  readonly envelope: string;
  readonly hash: string;
  readonly body: string;
}

function createReads(reader: ReturnType<typeof openReader>): Pick<Store, 'entries' | 'drains' | 'versions'> {
  const entries = reader.prepare<[object], EntryRow>(
    `SELECT seq, envelope, hash, body FROM ledger JOIN payload USING (log_index)
     WHERE stream = @drain AND seq > @afterSeq AND ${IS_DRAIN} ORDER BY seq LIMIT @most`,
  );
  const drains = reader
    .prepare<[string, number], string>('SELECT drain FROM drain WHERE drain > ? ORDER BY drain LIMIT ?')
    .pluck();
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

function storedEntry({ seq, envelope, hash, body }: EntryRow): StoredEntry {
  const { entry, recorded_at } = JSON.parse(envelope) as { entry: string; recorded_at: string };
  return { seq, entryId: entry, recordedAt: recorded_at, hash, body };
}
