import type { Accepted } from '../domain/decide.ts';
import type { Entry } from '../domain/vocabulary/entry.ts';
import { isObserved } from '../domain/vocabulary/fact.ts';
import type { Settings } from '../domain/vocabulary/settings.ts';
import type { Place } from '../store/port.ts';
import { advisoryChanges } from './advisory-changes.ts';
import { nameOf } from './names.ts';
import { rowView } from './view.ts';

/** Version of the derivation itself; it changes when the same entries would give other values. */
export const ALGORITHM = '1';

/** The answer to a post: kept with the entry, so that the same message gets the same answer for ever. */
export function writeReceipt(accepted: Accepted, place: Place, settings: Settings): string {
  const { entry, row, late, interim, changes } = accepted;
  return JSON.stringify({
    drain: entry.drain,
    ...deviceNamed(entry),
    sequence: place.seq,
    entry: entry.id,
    identifier: entry.body.identifier,
    kind: entry.body.kind,
    recorded_at: place.recordedAt,
    late,
    ...(interim ? { interim } : {}),
    derivation: { algorithm: ALGORITHM, settings: settings.version },
    derived: row === null ? null : rowView(row),
    ...advisoryChanges(changes),
    observations: interim
      ? 0
      : changes.flatMap(({ issued }) => issued).filter(({ fact }) => isObserved(fact)).length,
  });
}

/** The same of what was kept without a drain. @param drain the one that it was moved to in the same write */
export function writeUnmatchedReceipt(entry: Entry, drain: string | null, place: Place): string {
  return JSON.stringify({
    drain,
    ...deviceNamed(entry),
    sequence: place.seq,
    entry: entry.id,
    identifier: entry.body.identifier,
    kind: entry.body.kind,
    recorded_at: place.recordedAt,
  });
}

const deviceNamed = ({ body: { device } }: Entry) => (device === undefined ? {} : { device: nameOf(device) });
