/**
 * What the log writes while nothing else is written. Whoever keeps checkpoints then sees one at least this often, and can
 * tell a log to which nothing was added from one that stopped, or of which the end is held back.
 */
import { writeCanonical } from '../json/canonical.ts';

/** Stream of these entries, and their type: no drain can be called so. */
export const HEARTBEAT = 'heartbeat';

export const HEARTBEAT_EVERY_S = 60;

export interface Heartbeat {
  /** After so long without any other entry there is one. */
  readonly every_s: number;
  /** When the process began to write to this log, RFC 3339, UTC: a later one after a silence says that it was started again. */
  readonly running_since: string;
}

export const writeHeartbeat = (said: Heartbeat): string =>
  writeCanonical({ kind: HEARTBEAT, ...said }, () => undefined);

/** Reads what {@link writeHeartbeat} wrote. */
export const readHeartbeat = (body: string): Heartbeat => JSON.parse(body) as Heartbeat;
