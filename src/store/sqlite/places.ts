/** Where the entries are that concern a drain, and those entries. */
import type Database from 'better-sqlite3';
import type { EntryPlace, Store } from '../port.ts';
import { IS_DRAIN } from './books.ts';
import { type EntryRow, sentEntry } from './stored-entry.ts';

/** An entry that named no device counts for the drain of its stream. */
const PLACES = `
  SELECT log_index AS logIndex, envelope ->> '$.type' AS type,
    CASE WHEN device_chain.chain IS NULL THEN stream ELSE device_chain.drain END AS countsFor
  FROM ledger LEFT JOIN device_chain_entry USING (log_index) LEFT JOIN device_chain USING (chain)
  WHERE stream = @drain AND ${IS_DRAIN}
  UNION ALL
  SELECT log_index, envelope ->> '$.type', device_chain.drain
  FROM device_chain JOIN device_chain_entry USING (chain) JOIN ledger USING (log_index)
  WHERE device_chain.drain = @drain AND stream <> @drain
  ORDER BY 1`;

export function createPlaceReads(reader: Database.Database): Pick<Store, 'places' | 'entriesAt'> {
  const places = reader.prepare<[object], EntryPlace>(PLACES);
  const entries = reader.prepare<[string], EntryRow>(
    `SELECT seq, log_index, envelope, hash, body FROM ledger JOIN payload USING (log_index)
     WHERE log_index IN (SELECT value FROM json_each(?)) ORDER BY log_index`,
  );
  return {
    places: (drain) => places.all({ drain }),
    entriesAt: (logIndexes) => entries.all(JSON.stringify(logIndexes)).map(sentEntry),
  };
}
