import type { VerifierKey } from '../audit/checkpoint.ts';
import type { Policy } from '../domain/advisories/policy.ts';
import type { Calendar } from '../domain/vocabulary/configuration.ts';
import type { RuleTable } from '../domain/vocabulary/rule.ts';
import type { Exports } from '../export/bulk/exports.ts';
import type { Hl7v2 } from '../hl7v2/take.ts';
import type { Profiles } from '../intake/native/read-entry.ts';
import type { Pictures } from '../plots/pictures.ts';
import type { Accesses } from '../record/accesses.ts';
import type { RecordAct } from '../record/device-acts.ts';
import type { Preview, Record as RecordEntries } from '../record/record.ts';
import type { SearchIndex } from '../search/port.ts';
import type { ByWhom } from '../store/delivery-port.ts';
import type { Store } from '../store/port.ts';

/** What is said of the log as a whole, beside its tree. */
export interface ProofView {
  /** Name that checkpoints carry. */
  readonly origin: string;
  /** C2SP verifier keys, oldest first. */
  keys(): readonly string[];
  /** Where checkpoints are told, and since when one does not take them, ms since the epoch. */
  sinks(): readonly { readonly name: string; readonly failingSinceMs: number | null }[];
  /** Whose word on checkpoints is kept. */
  readonly witnesses: readonly VerifierKey[];
}

/** What the HTTP side is built from. */
export interface Parts {
  readonly record: RecordEntries;
  readonly preview: Preview;
  /** Of what is charted of devices. */
  readonly recordAct: RecordAct;
  readonly store: Store;
  readonly search: SearchIndex;
  readonly exports: Exports;
  readonly pictures: Pick<Pictures, 'draw'>;
  readonly profiles: Profiles;
  readonly policy: Policy;
  readonly rules: RuleTable;
  readonly calendar: Calendar;
  readonly proof: ProofView;
  readonly accesses: Pick<Accesses, 'note'>;
  /** Start of our canonical URLs. */
  readonly canonical: string;
  /** Base URL under which clients reach this service, without a slash at the end; final once it listens. */
  publicUrl(): string;
  now(): number;
  readonly delivery: DeliveryControl;
  /** Null where the facility takes no HL7 v2. */
  readonly hl7v2: Hl7v2 | null;
  /** Open over MLLP now; null where nothing listens. */
  mllpConnections(): number | null;
}

/** Delivery as it runs: what the store does not know of it. */
export interface DeliveryControl {
  status(): readonly TargetStatus[];
  /** Tries a target that rests or is parked at once. @returns false where there is no such target */
  resume(target: string, by: ByWhom): Promise<boolean>;
  /** Public keys that our assertions to targets are signed with. @throws when a key cannot be read */
  jwks(): Promise<{ readonly keys: readonly object[] }>;
}

export interface TargetStatus {
  readonly target: string;
  readonly state: 'working' | 'resting' | 'parked';
  readonly failures: number;
  readonly restsUntilMs: number | null;
  readonly requests: Readonly<Record<string, number>>;
}

/** Shown wherever a person or a program meets the service. */
export const CAUTIONS = [
  'Not an alarm and not a medical device: do not use it for primary or sole monitoring.',
  'It reports what was charted and what follows from it by arithmetic, for review; it gives no treatment advice.',
  'Local policy and the responsible clinician decide.',
] as const;
