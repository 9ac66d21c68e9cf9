/** What a facility chose, in versions: each counts from the moment it was recorded, and changes nothing before it. */

import type { EpochMs } from '../numbers/units.ts';
import type { ObservationName } from './fact.ts';
import type { MessageMapping } from './message-mapping.ts';
import type { RuleTable } from './rule.ts';
import type { Settings } from './settings.ts';
import type { UnitProfile } from './unit-profile.ts';

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

/** Of http://terminology.hl7.org/CodeSystem/observation-category. */
export type Category =
  | 'social-history'
  | 'vital-signs'
  | 'imaging'
  | 'laboratory'
  | 'procedure'
  | 'survey'
  | 'exam'
  | 'therapy'
  | 'activity';

/** How facts are coded for the record; no value depends on it. */
export interface Terminology {
  /** Whether SNOMED CT codings, which need a licence, stand beside the others. */
  readonly snomed: boolean;
  /** In place of the usual one, by fact. */
  readonly categories: Readonly<Partial<Record<ObservationName, Category>>>;
}

export const USUAL_TERMINOLOGY: Terminology = { snomed: true, categories: {} };

/** All that derived values, and the record's view of them, depend on beside the entries. */
export interface Configuration {
  /** Version of the arithmetic itself. */
  readonly algorithm: string;
  readonly settings: Settings;
  /** By id. */
  readonly profiles: ReadonlyMap<string, UnitProfile>;
  readonly rules: RuleTable;
  readonly calendar: Calendar;
  readonly terminology: Terminology;
  /** How HL7 v2 messages are read, where the facility takes any. */
  readonly hl7v2?: MessageMapping;
}

export interface ConfigurationInForce extends Configuration {
  /** The first moment at which it counts; the next version ends it. */
  readonly from: EpochMs;
  /** Its place among all versions, from '1'. */
  readonly version: string;
}
