/** What an audit bundle holds of erasures: the entries that tell of what is gone of it, and none that tell of others alone. */
import type Database from 'better-sqlite3';
import { createErasures, type Run, type Tombstone } from '../../audit/erasure.ts';
import { createTombstoneReader } from '../../store/sqlite/tombstones.ts';

interface Part {
  /** Places in the log. */
  readonly indexes: readonly number[];
  /** Numbers of the delivery events that are due with them; null: none, as those of drains are picked one by one. */
  readonly events: Run | null;
}

/**
 * @param size entries that the checkpoint covers @returns places in the log of what names any of these
 * @throws {Error} where one is not what was written, or no checkpoint covers it yet
 */
export function erasuresOf(db: Database.Database, { indexes, events }: Part, size: number): number[] {
  const { all, changed } = createTombstoneReader(db)();
  if (changed !== null)
    throw new Error(`entry ${changed.log_index} is not what was written; run verify on this database`);
  const found = all.filter((tombstone) => names(tombstone, indexes, events));
  const late = found.find(({ logIndex }) => logIndex >= size);
  if (late !== undefined)
    throw new Error(
      `entry ${late.logIndex} tells what was erased of this, and no checkpoint covers it yet: start the service, which signs one`,
    );
  return found.map(({ logIndex }) => logIndex);
}

function names(tombstone: Tombstone, indexes: readonly number[], events: Run | null): boolean {
  const { entry } = createErasures([tombstone]);
  const { steps } = tombstone.erased;
  return (
    indexes.some((index) => entry(index) !== undefined) ||
    (events !== null && steps.some(([first, last]) => first <= events[1] && last >= events[0]))
  );
}
