import type Database from 'better-sqlite3';
import { deviceStream } from '../device-port.ts';
import type { DeviceReads } from '../port.ts';
import type { DeviceShelf } from './devices.ts';
import { type EntryRow, storedEntry } from './stored-entry.ts';

const COLUMNS = 'seq, log_index, envelope, hash, body';
const UNMATCHED_NOW = 'device_chain.drain IS NULL AND read_ms IS NOT NULL';

/** @param devices between groups it holds just what is committed */
export function createDeviceReads(reader: Database.Database, devices: DeviceShelf): DeviceReads {
  const names = reader
    .prepare<[string, number], string>('SELECT device FROM device WHERE device > ? ORDER BY device LIMIT ?')
    .pluck();
  const ofDrain = reader
    .prepare<[string], string>('SELECT device FROM device_of_drain WHERE drain = ? ORDER BY device')
    .pluck();
  const entries = reader.prepare<[string, number, number], EntryRow>(
    `SELECT ${COLUMNS} FROM ledger JOIN payload USING (log_index)
     WHERE stream = ? AND seq > ? ORDER BY seq LIMIT ?`,
  );
  const unmatched = reader.prepare<[number, number], EntryRow & { readonly device: string }>(
    `SELECT ${COLUMNS}, device FROM device_chain JOIN ledger ON log_index = first_log JOIN payload USING (log_index)
     WHERE ${UNMATCHED_NOW} AND first_log > ? ORDER BY first_log LIMIT ?`,
  );
  const count = reader
    .prepare<[], number>(`SELECT count(*) FROM device_chain WHERE ${UNMATCHED_NOW}`)
    .pluck();
  return {
    device(device) {
      const book = devices.device(device);
      return book.registration === null ? undefined : book;
    },
    devices: (after, most) => names.all(after, most),
    devicesOf: (drain) => ofDrain.all(drain),
    deviceEntries: (device, afterSeq, most) =>
      entries.all(deviceStream(device), afterSeq, most).map(storedEntry),
    unmatched: (afterLogIndex, most) =>
      unmatched.all(afterLogIndex, most).map((row) => ({ ...storedEntry(row), device: row.device })),
    unmatchedCount: () => count.get() ?? 0,
    routedChain: (entryId) => devices.chain(entryId),
  };
}
