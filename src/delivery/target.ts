/** A receiver of what is issued, as it is configured. */
import type { FactName } from '../domain/vocabulary/fact.ts';
import type { Backoff } from './backoff.ts';
import type { Profile } from './point-of-care.ts';

export interface Target {
  readonly name: string;
  /** FHIR base URL, without a slash at the end. */
  readonly baseUrl: string;
  readonly mode: Mode;
  /** Null: all. */
  readonly facts: ReadonlySet<FactName> | null;
  /** In other words than ours: a target may know a fact by codes of its own, and look for it in another category. */
  readonly words: ReadonlyMap<FactName, Words>;
  /** As issued, or as HL7's Point-of-Care Device IG has what devices measure. */
  readonly profile: Profile;
  /** Types of resources; null: all that are issued, or those that the target is found to take. */
  readonly types: ReadonlySet<string> | null;
  readonly patient: Resolution;
  readonly encounter: Resolution | 'omit';
  /** How long an answer may take, ms. */
  readonly timeoutMs: number;
  /** How long the target may go on working on a request whose answer we did not get, ms. */
  readonly requestCeilingMs: number;
  readonly backoff: Backoff;
  /** After so long, and ten attempts, a delivery that only ever failed is set aside, ms. */
  readonly giveUpMs: number;
  /** How long the target may take to show what it accepted for later, ms. */
  readonly reviewMs: number;
  readonly mostAtOnce: number;
  /** Resources in one transaction, as far as what waits behind one another on a drain shares it; 1: nothing does. */
  readonly mostInBundle: number;
}

/** What stands in the place of our own; absent: ours. */
export interface Words {
  readonly categories?: readonly Coding[] | undefined;
  readonly codings?: readonly Coding[] | undefined;
}

export interface Coding {
  readonly system: string;
  readonly code: string;
  readonly display?: string | undefined;
}

/**
 * create: one by one under ids of the target's choice, by conditional create. put: one by one under our ids.
 * batch, transaction: what one entry issued in one Bundle of PUTs; a transaction may hold what several issued. probe: the
 * best of these that the target says it can.
 */
export const MODES = ['probe', 'create', 'put', 'batch', 'transaction'] as const;
export type Mode = (typeof MODES)[number];

/**
 * How a patient or encounter that is known by its identifier alone is referred to: as it was charted; by the id that a
 * search at the target finds; or by a search that the target does itself (conditional reference, in transactions only).
 */
export const RESOLUTIONS = ['as-given', 'look-up', 'conditional'] as const;
export type Resolution = (typeof RESOLUTIONS)[number];

/** A target and what opens the way to it. */
export interface ConfiguredTarget {
  readonly target: Target;
  readonly auth: Auth;
  readonly tls: TlsFiles | null;
}

/** Paths are whole; what is in them is read when it is needed. */
export type Auth =
  | { readonly type: 'none' }
  | { readonly type: 'bearer'; readonly tokenFile?: string; readonly tokenEnv?: string }
  | {
      readonly type: 'smart';
      readonly clientId: string;
      readonly scope: string;
      readonly keyFile: string;
      /** Published beside it: the key before or the key after. */
      readonly otherKeyFiles: readonly string[];
      readonly jwksUrl: string | null;
    };

export interface TlsFiles {
  readonly certFile?: string;
  readonly keyFile?: string;
  readonly caFile?: string;
}
