/** From when on a measurement no longer speaks for a drain. */
import { type EpochMs, HOUR_MS } from '../numbers/units.ts';

/** What was read further back from the newest statement says nothing of now. Common practice, no source. */
const OLDEST_MS = 24 * HOUR_MS;

export const isTooOld = (at: EpochMs, now: EpochMs): boolean => now - at > OLDEST_MS;
