/** What an audit bundle of drains holds of devices: where they were, and what counts for the drains though it matched none at first. */
import type Database from 'better-sqlite3';
import { readDeviceBody } from '../../audit/entry-text.ts';
import type { DeviceBody } from '../../domain/devices/device.ts';
import { identifierText } from '../../domain/vocabulary/identifier-text.ts';
import { deviceStream, UNMATCHED } from '../../store/device-port.ts';

/** @param size entries that the checkpoint covers @returns places in the log */
export const ofDevices = (db: Database.Database, drains: readonly string[], size: number): number[] => [
  ...unmatchedAtFirst(db, drains, size),
  ...new Set(drains.flatMap((drain) => assignmentsTo(db, drain, size))),
];

/** Nothing was issued with these, so they say nothing of any other drain. */
const unmatchedAtFirst = (db: Database.Database, drains: readonly string[], size: number): number[] =>
  db
    .prepare<[string, number], number>(
      `SELECT log_index FROM device_chain JOIN device_chain_entry USING (chain) JOIN ledger USING (log_index)
       WHERE drain IN (SELECT value FROM json_each(?)) AND stream = '${UNMATCHED}' AND log_index < ?`,
    )
    .pluck()
    .all(JSON.stringify(drains), size);

/** What each device that was on a drain is, and all forms of its assignments that ever named the drain. */
function assignmentsTo(db: Database.Database, drain: string, size: number): number[] {
  const devices = db.prepare<[string], string>('SELECT device FROM device_of_drain WHERE drain = ?').pluck();
  const rows = db.prepare<[string, number], { readonly log_index: number; readonly body: string }>(
    'SELECT log_index, body FROM ledger JOIN payload USING (log_index) WHERE stream = ? AND log_index < ? ORDER BY seq',
  );
  return devices.all(drain).flatMap((device) => {
    const acts = rows
      .all(deviceStream(device), size)
      .map(({ log_index, body }) => ({ log_index, act: readDeviceBody(body) }));
    const firstOf = new Map<string, string>();
    for (const { act } of acts) {
      const own = identifierText(act.identifier);
      firstOf.set(own, ('target' in act ? firstOf.get(identifierText(act.target)) : undefined) ?? own);
    }
    const chainOf = ({ identifier }: DeviceBody) => firstOf.get(identifierText(identifier));
    const onDrain = new Set(acts.filter(({ act }) => drainIn(act) === drain).map(({ act }) => chainOf(act)));
    const registrations = new Set(
      acts.filter(({ act }) => act.kind === 'registered').map(({ act }) => chainOf(act)),
    );
    return acts
      .filter(({ act }) => registrations.has(chainOf(act)) || onDrain.has(chainOf(act)))
      .map(({ log_index }) => log_index);
  });
}

function drainIn(act: DeviceBody): string | undefined {
  if (act.kind === 'assigned') return act.drain;
  return act.kind === 'corrected' && 'drain' in act.replacement ? act.replacement.drain : undefined;
}
