/**
 * The vocabulary of the ledger: what may be said about a drain.
 * Field names are those of the wire; units stand last in the name. Magnitudes are never negative, except
 * `pressure_cmh2o`, which is signed against atmosphere.
 */
import type { Decimal } from '../numbers/decimal.ts';
import type { Instant } from '../numbers/instant.ts';
import type { EpochMs } from '../numbers/units.ts';
import type { AsSent, Received } from './received.ts';
import type { UnitProfile } from './unit-profile.ts';

/** A key that its sender made; the same key always means the same entry. */
export interface Identifier {
  readonly system: string;
  readonly value: string;
}

/** A FHIR reference ('Patient/123') or a business identifier, or both. Never a name. */
export interface Reference {
  readonly reference?: string;
  readonly identifier?: Identifier;
}

export interface Author extends Reference {
  readonly type: 'person' | 'device';
}

export type Site = 'pleural-left' | 'pleural-right' | 'mediastinal' | 'pericardial';
export type Population = 'adult' | 'paediatric';
export type Indication =
  | 'cardiac-surgery'
  | 'thoracic-surgery'
  | 'trauma'
  | 'pneumothorax'
  | 'effusion'
  | 'other';

/** Facts about a drain that hold for all its time, but for the encounter, which holds from its entry on. */
export interface DrainFacts {
  readonly patient?: Reference;
  readonly encounter?: Reference;
  readonly population?: Population;
  readonly indication?: Indication;
  readonly chest_closed_at?: string;
  readonly unit_arrived_at?: string;
  readonly injured_at?: string;
}

export interface Placed extends DrainFacts {
  readonly kind: 'placed';
  readonly site: Site;
  /** Labels of the tubes that empty into this drain's chamber: one, or several joined by a Y. */
  readonly tubes: readonly string[];
}

interface AttachedUnit {
  readonly profile: string;
  /** The profile as it was configured when the entry was taken. */
  readonly unit_profile: UnitProfile;
  readonly unit_serial?: string;
  /** The level at which the unit starts; 0 is an answer, absent means unknown. */
  readonly opening_level_ml?: Decimal;
  readonly connections_checked?: boolean;
}

export interface SetUp extends AttachedUnit {
  readonly kind: 'set-up';
  readonly seal_filled_cmh2o?: Decimal;
  readonly suction?: Suction;
}

export interface UnitChanged extends AttachedUnit {
  readonly kind: 'unit-changed';
  readonly closing_level_ml?: Decimal;
}

export interface LevelRebased {
  readonly kind: 'level-rebased';
  readonly cause: 'tip-over' | 'spill' | 'drained-off' | 'other';
  readonly last_trusted_level_ml?: Decimal;
  readonly new_level_ml?: Decimal;
  readonly estimated_loss_ml?: Decimal;
}

export interface Suction {
  readonly source?: 'on' | 'off';
  /** Height of the suction column of a wet unit, cm H2O below atmosphere, positive. */
  readonly column_cmh2o?: Decimal;
  /** Dial of a dry unit, cm H2O below atmosphere, positive. */
  readonly dial_cmh2o?: Decimal;
  readonly ordered_cmh2o?: Decimal;
  readonly bubbling?: 'none' | 'gentle' | 'vigorous';
  readonly indicator?: 'in-range' | 'out-of-range' | 'not-assessed';
}

export interface Seal {
  readonly level_cmh2o?: Decimal;
  readonly swing_low_cmh2o?: Decimal;
  readonly swing_high_cmh2o?: Decimal;
}

export type LeakPhase = 'none' | 'forced-expiratory' | 'expiratory' | 'inspiratory' | 'continuous';

export interface AirLeak {
  readonly grade?: Decimal;
  readonly phase?: LeakPhase;
  readonly flow_ml_min?: Decimal;
}

export type FluidCharacter = 'serous' | 'serosanguineous' | 'sanguineous' | 'chylous' | 'purulent' | 'other';

export interface Reading {
  readonly kind: 'reading';
  readonly level_ml?: Decimal;
  readonly suction?: Suction;
  readonly seal?: Seal;
  readonly tidaling?: 'present' | 'absent' | 'not-assessed';
  readonly air_leak?: AirLeak;
  readonly pressure_cmh2o?: Decimal;
  readonly fluid_character?: FluidCharacter;
  readonly fluid_colour?: string;
  readonly clamped?: boolean;
  readonly site_findings?: string;
  readonly position_changed?: boolean;
}

export interface Instilled {
  readonly kind: 'instilled';
  readonly volume_ml: Decimal;
  readonly purpose: 'flush' | 'fibrinolytic' | 'sclerosant' | 'other';
}

export type Sampled = { readonly kind: 'sampled'; readonly volume_ml: Decimal };

export interface SuctionChanged {
  readonly kind: 'suction-changed';
  readonly source: 'on' | 'off';
  readonly column_cmh2o?: Decimal;
  readonly dial_cmh2o?: Decimal;
  readonly ordered_cmh2o?: Decimal;
}

export type Clamped = { readonly kind: 'clamped' };
export type Unclamped = { readonly kind: 'unclamped' };
export type NegativityVented = { readonly kind: 'negativity-vented' };
export type Removed = { readonly kind: 'removed' };

export interface SealAdjusted {
  readonly kind: 'seal-adjusted';
  readonly chamber: 'seal' | 'suction';
  /** Water put in (`added`) or taken out (`withdrawn`); the amount if it was measured. */
  readonly water: 'added' | 'withdrawn';
  readonly volume_ml?: Decimal;
  readonly new_level_cmh2o?: Decimal;
}

export interface TubeManipulated {
  readonly kind: 'tube-manipulated';
  readonly what:
    | 'repositioned'
    | 'milked'
    | 'stripped'
    | 'unkinked'
    | 'reconnected'
    | 'dressing-changed'
    | 'other';
}

export interface DrainUpdated extends DrainFacts {
  readonly kind: 'drain-updated';
}

export interface Weighed {
  readonly kind: 'weighed';
  readonly weight_kg: Decimal;
}

export interface Reviewed {
  readonly kind: 'reviewed';
  readonly advisory: string;
  readonly words: string;
}

/** What an entry says of the drain itself; a correction may put another in its place. */
export type Statement =
  | Placed
  | SetUp
  | Reading
  | UnitChanged
  | LevelRebased
  | Instilled
  | Sampled
  | SuctionChanged
  | Clamped
  | Unclamped
  | SealAdjusted
  | NegativityVented
  | TubeManipulated
  | DrainUpdated
  | Weighed
  | Reviewed
  | Removed;

/** A statement at a moment: the part of an entry that a correction replaces whole. */
export type Content = { readonly effective_at: string; readonly note?: string } & Statement;

/** Puts a whole new content in the place of the current end of a chain. */
export interface Corrected {
  readonly kind: 'corrected';
  readonly target: Identifier;
  readonly reason: string;
  readonly replacement: Content;
}

/** Says that a whole chain never was true. Not reversible. */
export interface EnteredInError {
  readonly kind: 'entered-in-error';
  readonly target: Identifier;
  readonly reason: string;
}

/** What one entry of the ledger holds, as it was accepted. */
export type EntryBody = {
  readonly identifier: Identifier;
  readonly author: Author;
  readonly effective_at: string;
  readonly note?: string;
  /** The device that it was read on, where the sender named that: alone, or beside the drain. */
  readonly device?: Identifier;
  readonly as_sent?: readonly AsSent[];
  /** With whom the sender meant, where it named a device and no drain: it counts for no drain of anybody else. */
  readonly received?: Received & { readonly patient?: Reference };
} & (Statement | Corrected | EnteredInError);

export type Kind = EntryBody['kind'];

/** One entry, as the ledger gives it back. */
export interface Entry {
  /** Short stable name made from the identifier; the same in every ledger that holds the entry. */
  readonly id: string;
  readonly drain: string;
  readonly seq: number;
  readonly effective: Instant;
  readonly recorded_ms: EpochMs;
  readonly body: EntryBody;
}
