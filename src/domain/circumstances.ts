import type { Population } from './entry.ts';
import type { Settings } from './settings.ts';
import type { EpochMs } from './units.ts';
import type { Weight } from './weight.ts';

/** What holds for the drain at all times, and what comes from the patient's other drains. */
export interface Circumstances {
  /** Null while no placement stands: then nothing counts. */
  readonly placedAt: EpochMs | null;
  readonly removedAt: EpochMs | null;
  readonly population: Population | undefined;
  /** In order of time. */
  readonly weights: readonly Weight[];
  readonly settings: Settings;
}
