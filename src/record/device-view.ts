/** Devices and what is unmatched, as the native API shows them. */
import { type Assignment, assignedAt, type DeviceBook } from '../domain/device.ts';
import type { EpochMs } from '../domain/units.ts';
import type { DeviceReads } from '../store/port.ts';

/** @param isSeen whether a drain may be shown to whoever asks @returns null for what they may see nothing of */
export function deviceView(
  device: string,
  { registered, assignments }: DeviceBook,
  at: EpochMs,
  isSeen: (drain: string) => boolean,
) {
  const seen = assignments.filter(({ drain }) => isSeen(drain));
  if (registered === null) return null;
  const now = assignedAt({ registered, assignments: seen }, at);
  return {
    device,
    identifier: registered.device,
    type: registered.type,
    registered_at: registered.effective_at,
    drain: now?.drain ?? null,
    assignments: seen.map(assignmentView),
  };
}

const assignmentView = (assignment: Assignment) => ({
  identifier: assignment.identifier,
  newest: assignment.end,
  drain: assignment.drain,
  from: assignment.from,
  to: assignment.to ?? null,
  entered_in_error: assignment.void,
});

/** Devices that are on a drain at a moment. */
export function devicesOn(store: DeviceReads, drain: string, at: EpochMs) {
  return store.devicesOf(drain).flatMap((device) => {
    const book = store.device(device);
    const assignment = book === undefined ? null : assignedAt(book, at);
    if (book?.registered == null || assignment?.drain !== drain) return [];
    const { device: identifier, type } = book.registered;
    return { device, identifier, type, since: assignment.from };
  });
}
