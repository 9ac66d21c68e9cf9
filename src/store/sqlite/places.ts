/** Where the entries are that concern a drain, and those entries. */
import type Database from 'better-sqlite3';
import type { Store } from '../port.ts';
import { IS_DRAIN } from './books.ts';
import { sentEntry } from './stored-entry.ts';

/**
 * Of all that stands in the stream of a drain and what other streams hold that counts for it, in the order of the log: some
 * columns, the first of which is the place, and the drain that it counts for. What named no device counts for that of its stream.
 */
export const concerning = (columns: string, joined = ''): string => `
  SELECT ${columns}, CASE WHEN device_chain.chain IS NULL THEN stream ELSE device_chain.drain END
  FROM ledger ${joined} LEFT JOIN device_chain_entry USING (log_index) LEFT JOIN device_chain USING (chain)
  WHERE stream = @drain AND ${IS_DRAIN}
  UNION ALL
  SELECT ${columns}, device_chain.drain
  FROM device_chain JOIN device_chain_entry USING (chain) JOIN ledger USING (log_index) ${joined}
  WHERE device_chain.drain = @drain AND stream <> @drain
  ORDER BY 1`;

/** Columns of the statements, in their order. */
type PlaceList = [logIndex: number, type: string, countsFor: string | null];
type EntryList = [seq: number, log_index: number, envelope: string, hash: string, body: string];

/** Rows are read as lists: with members that the driver names each would be a dictionary, which takes half as long again. */
export function createPlaceReads(reader: Database.Database): Pick<Store, 'places' | 'entriesAt'> {
  const places = reader.prepare<[object], PlaceList>(concerning("log_index, envelope ->> '$.type'")).raw();
  const entries = reader
    .prepare<[string], EntryList>(
      `SELECT seq, log_index, envelope, hash, body FROM ledger JOIN payload USING (log_index)
       WHERE log_index IN (SELECT value FROM json_each(?)) ORDER BY log_index`,
    )
    .raw();
  return {
    places: (drain) =>
      places.all({ drain }).map(([logIndex, type, countsFor]) => ({ logIndex, type, countsFor })),
    entriesAt: (logIndexes) =>
      entries
        .all(JSON.stringify(logIndexes))
        .map(([seq, log_index, envelope, hash, body]) => sentEntry({ seq, log_index, envelope, hash, body })),
  };
}
