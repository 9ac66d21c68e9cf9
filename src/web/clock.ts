/**
 * The time by the clock of the service, as far as it has answered: on a device whose own clock is wrong an entry would
 * be charted at a wrong time, and nobody would notice.
 */
const KEPT = 'clock ahead';
/** An answer says its time to the second, and is on its way for a while. */
const COARSE_MS = 60_000;

let aheadMs = Number(sessionStorage.getItem(KEPT) ?? 0);
let changed = (): void => undefined;

export const serviceNow = (): number => Date.now() - aheadMs;

/** How far the clock of this device is ahead, ms; negative where it is behind, 0 where it is right. */
export const deviceAhead = (): number => aheadMs;

/** Calls back whenever that has changed. */
export function onClock(listener: () => void): void {
  changed = listener;
}

/** @param date of an answer, as its heading of that name says */
export function heard(date: string | null): void {
  const service = Date.parse(date ?? '');
  if (Number.isNaN(service)) return;
  const ahead = Date.now() - service;
  const next = Math.abs(ahead) < COARSE_MS ? 0 : ahead;
  if (Math.abs(next - aheadMs) < COARSE_MS && (next === 0) === (aheadMs === 0)) return;
  aheadMs = next;
  sessionStorage.setItem(KEPT, String(next));
  changed();
}
