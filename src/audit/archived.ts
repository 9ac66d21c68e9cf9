/** What the log says of archives: whole closed drains, written into an audit bundle that verified. Nothing of them is deleted. */
import { writeCanonical } from '../json/canonical.ts';

/** Stream of these entries: no drain can be called so. */
export const RETENTION = 'retention';
export const ARCHIVED_TYPE = 'archived';

export interface Archived {
  /** Name of the bundle in its folder. */
  readonly bundle: string;
  /** Of the bundle's manifest, hex: that has the hash of each other file. */
  readonly manifest_sha256: string;
  readonly drains: readonly string[];
  /** In the bundle. */
  readonly entries: number;
  /** Entries of the log that the bundle's checkpoint covers. */
  readonly covered: number;
  /** What the facility had chosen, days since the newest entry. */
  readonly older_than_days: number;
  readonly reason: string;
}

export const writeArchived = (archived: Archived): string =>
  writeCanonical({ kind: ARCHIVED_TYPE, ...archived }, () => undefined);

/** Reads what {@link writeArchived} wrote. */
export const readArchived = (body: string): Archived => JSON.parse(body) as Archived;
