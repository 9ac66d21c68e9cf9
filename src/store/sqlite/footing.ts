/** What all that is derived of a drain rests on, as one short text: where it is the same, so are all derived values. */
import type Database from 'better-sqlite3';

/**
 * The newest hash of the drain's stream, of those of all drains of its patient, and of the configuration. Each hash
 * vouches for its whole stream up to there, so two ledgers, or one before and after an entry, never have the same. What a
 * device read may count for another drain later: then an entry in the stream of each drain concerned says so.
 * @returns null where there is no such drain
 */
export function createFooting(db: Database.Database): (drain: string) => string | null {
  const heads = db.prepare<[object], { drain: string; hash: string | null }>(
    `SELECT drain, (SELECT hash FROM ledger WHERE stream = drain ORDER BY seq DESC LIMIT 1) AS hash
     FROM drain WHERE drain = @drain OR patient_key = (SELECT patient_key FROM drain WHERE drain = @drain)
     ORDER BY drain`,
  );
  const configuration = db
    .prepare<[], string>("SELECT hash FROM ledger WHERE stream = 'configuration' ORDER BY seq DESC LIMIT 1")
    .pluck();
  return (drain) => {
    const found = heads.all({ drain });
    if (found.length === 0) return null;
    return [configuration.get() ?? '', ...found.map((each) => `${each.drain} ${each.hash}`)].join('\n');
  };
}
