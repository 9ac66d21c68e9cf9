/** Who asks. */
import { isSamePatient } from '../domain/fold/drain.ts';
import type { Reference } from '../domain/vocabulary/entry.ts';

/** What a client is confined to, if anything. */
export interface Bounds {
  readonly patient: Reference | null;
  readonly drain: string | null;
}

export interface Principal {
  readonly client: string;
  /** Who works with the client, where the token says so. */
  readonly subject: string | null;
  /** Names the token or the key that was believed, as a URI that lets nobody in; null where neither has a name. */
  readonly credential: string | null;
  /** Words with blanks between. */
  readonly scope: string;
  readonly bounds: Bounds;
}

/** Who asks, and over which connection. */
export interface Caller extends Principal {
  /** IP address. */
  readonly address: string;
  /** X-Request-Id as it came; null where there was none that can be kept. */
  readonly requestId: string | null;
}

export const UNBOUND: Bounds = { patient: null, drain: null };

export const isBound = ({ bounds }: Principal): boolean => bounds.patient !== null || bounds.drain !== null;

/** Of development mode: may do everything. */
export const DEVELOPER: Principal = {
  client: 'development',
  subject: null,
  credential: null,
  scope: 'system/*.cruds drainledger/operate drainledger/audit',
  bounds: UNBOUND,
};

/** Whether a drain is within what a client is confined to. @param patient whom the drain is linked to */
export function isWithin({ bounds }: Principal, drain: string, patient: Reference | undefined): boolean {
  if (bounds.drain !== null && bounds.drain !== drain) return false;
  return bounds.patient === null || isSamePatient(bounds.patient, patient);
}
