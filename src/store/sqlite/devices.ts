/** Where devices are, in memory and on disk: read from the ledger when first needed, dropped when in doubt. */
import type Database from 'better-sqlite3';
import { readDeviceBody } from '../../audit/entry-text.ts';
import { type DeviceBook, UNKNOWN_DEVICE } from '../../domain/devices/device.ts';
import { deviceAfter } from '../../domain/devices/device-after.ts';
import { type Chain, chainAfter } from '../../domain/fold/chains.ts';
import { type DeviceLook, type DeviceWrites, deviceStream, type RoutedChain } from '../device-port.ts';
import { createPatientReader } from './accesses.ts';
import { type LedgerRow, toEntry } from './books.ts';

export interface DeviceShelf extends DeviceLook {
  /** Changes the indexes, in the transaction of the entry. */
  write(logIndex: number, changes: DeviceWrites): void;
  /** Forgets all that is kept in memory, after a rollback. */
  forget(): void;
}

interface ChainRow {
  readonly chain: string;
  readonly device: string;
  readonly drain: string | null;
}

export function createDeviceShelf(db: Database.Database): DeviceShelf {
  const kept = new Map<string, DeviceBook>();
  const bodies = db
    .prepare<[string], string>(
      'SELECT body FROM ledger JOIN payload USING (log_index) WHERE stream = ? ORDER BY seq',
    )
    .pluck();
  const chainOf = db.prepare<[string], ChainRow>(
    `SELECT chain, device, drain FROM identity JOIN device_chain_entry USING (log_index)
     JOIN device_chain USING (chain) WHERE entry_id = ?`,
  );
  const between = db.prepare<[string, number, number], ChainRow>(
    `SELECT chain, device, drain FROM device_chain
     WHERE device = ? AND read_ms >= ? AND read_ms < ? ORDER BY read_ms, first_log`,
  );
  const entries = db.prepare<[string], LedgerRow>(
    `SELECT seq, stream, envelope, body FROM device_chain_entry
     JOIN ledger USING (log_index) JOIN payload USING (log_index) WHERE chain = ? ORDER BY log_index`,
  );
  const newest = db
    .prepare<[string, string], number | null>(
      'SELECT max(version) FROM reissue WHERE drain = ? AND fact_key = ?',
    )
    .pluck();
  const isDrain = db.prepare<[string], number>('SELECT 1 FROM drain WHERE drain = ?').pluck();
  const isErased = db.prepare<[string], number>('SELECT 1 FROM erased WHERE entry_id = ?').pluck();
  const toChain = (row: ChainRow): RoutedChain => readChain(row, entries.all(row.chain));

  return {
    device(device) {
      const before = kept.get(device);
      if (before !== undefined) return before;
      const book = openDevice(bodies.all(deviceStream(device)));
      // Anybody may ask for a device that is none: that must not fill the memory.
      if (book !== UNKNOWN_DEVICE) kept.set(device, book);
      return book;
    },
    chain(entryId) {
      const row = chainOf.get(entryId);
      return row === undefined ? undefined : toChain(row);
    },
    chainsBetween: (device, from, to) => between.all(device, from, to).map(toChain),
    isDrain: (drain) => isDrain.get(drain) === 1,
    isErased: (name) => isErased.get(name) === 1,
    patientOf: createPatientReader(db),
    versionsIssued: (stream, factKey) => newest.get(stream, factKey) ?? 0,
    write: createIndexWriter(db, kept),
    forget: () => kept.clear(),
  };
}

function createIndexWriter(db: Database.Database, kept: Map<string, DeviceBook>): DeviceShelf['write'] {
  const chain = db.prepare<[object]>(
    `INSERT INTO device_chain (chain, device, read_ms, drain, first_log)
     VALUES (@chain, @device, @readMs, @drain, @logIndex)
     ON CONFLICT (chain) DO UPDATE SET read_ms = excluded.read_ms, drain = excluded.drain`,
  );
  const entry = db.prepare<[number, string]>(
    'INSERT INTO device_chain_entry (log_index, chain) VALUES (?, ?)',
  );
  const moved = db.prepare<[string | null, string]>('UPDATE device_chain SET drain = ? WHERE chain = ?');
  const registered = db.prepare<[string]>('INSERT OR IGNORE INTO device (device) VALUES (?)');
  const assigned = db.prepare<[string, string]>(
    'INSERT OR IGNORE INTO device_of_drain (drain, device) VALUES (?, ?)',
  );
  return (logIndex, { chain: stands, rerouted, about }) => {
    if (stands !== undefined) {
      chain.run({ ...stands, logIndex });
      entry.run(logIndex, stands.chain);
    }
    for (const each of rerouted?.chains ?? []) moved.run(rerouted?.drain ?? null, each);
    if (about === undefined) return;
    kept.delete(about.device);
    registered.run(about.device);
    if (about.drain !== null) assigned.run(about.drain, about.device);
  };
}

/** @throws {Error} when an entry does not fit those before it: then the ledger is not one this service wrote */
function openDevice(bodies: readonly string[]): DeviceBook {
  let book = UNKNOWN_DEVICE;
  for (const body of bodies) {
    const after = deviceAfter(book, readDeviceBody(body));
    if ('refused' in after) throw new Error(`an entry of a device does not fit the ledger: ${after.refused}`);
    book = after;
  }
  return book;
}

function readChain({ chain: name, device, drain }: ChainRow, rows: readonly LedgerRow[]): RoutedChain {
  let chain: Chain | undefined;
  const told = rows.flatMap((row) => toEntry(drain ?? row.stream, row));
  for (const entry of told) {
    const after = chainAfter(entry, () => chain);
    if ('refused' in after) throw new Error(`entry ${entry.id} does not fit the ledger: ${after.refused}`);
    chain = after;
  }
  if (chain === undefined) throw new Error(`chain ${name} has no entries; run verify on this database`);
  return { chain, device, drain, members: told.map(({ body }) => body.identifier) };
}
