/** What a facility chose, in versions: each counts from the moment it was recorded, and changes nothing before it. */
import type { RuleTable } from './rule.ts';
import type { Settings } from './settings.ts';
import type { UnitProfile } from './unit-profile.ts';
import type { EpochMs } from './units.ts';

/** Local time of day, minutes since midnight. */
export type MinuteOfDay = number;

/** When the days and shifts of a facility start, on the clock on its wall. */
export interface Calendar {
  /** IANA name. */
  readonly zone: string;
  readonly dayStart: MinuteOfDay;
  /** Rising. They tile the days only if `dayStart` is one of them. */
  readonly shiftStarts: readonly MinuteOfDay[];
}

/** All that derived values depend on beside the entries. */
export interface Configuration {
  /** Version of the arithmetic itself. */
  readonly algorithm: string;
  readonly settings: Settings;
  /** By id. */
  readonly profiles: ReadonlyMap<string, UnitProfile>;
  readonly rules: RuleTable;
  readonly calendar: Calendar;
}

export interface ConfigurationInForce extends Configuration {
  /** The first moment at which it counts; the next version ends it. */
  readonly from: EpochMs;
  /** Its place among all versions, from '1'. */
  readonly version: string;
}
