import type { EpochMs } from '../numbers/units.ts';
import type { Population } from '../vocabulary/entry.ts';
import type { Settings } from '../vocabulary/settings.ts';
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
