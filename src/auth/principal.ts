/** Who asks. */
import type { Reference } from '../domain/entry.ts';

/** What a client is confined to, if anything. */
export interface Bounds {
  readonly patient: Reference | null;
  readonly drain: string | null;
}

export interface Principal {
  readonly client: string;
  /** Who works with the client, where the token says so. */
  readonly subject: string | null;
  /** Words with blanks between. */
  readonly scope: string;
  readonly bounds: Bounds;
}

export const UNBOUND: Bounds = { patient: null, drain: null };

export const isBound = ({ bounds }: Principal): boolean => bounds.patient !== null || bounds.drain !== null;

/** Of development mode: may do everything. */
export const DEVELOPER: Principal = {
  client: 'development',
  subject: null,
  scope: 'system/*.cruds drainledger/operate drainledger/audit',
  bounds: UNBOUND,
};

/** Whether a drain is within what a client is confined to. @param patient whom the drain is linked to */
export function isWithin({ bounds }: Principal, drain: string, patient: Reference | undefined): boolean {
  if (bounds.drain !== null && bounds.drain !== drain) return false;
  return bounds.patient === null || isSame(bounds.patient, patient);
}

/** By what both name the patient by. */
function isSame(a: Reference, b: Reference | undefined): boolean {
  if (a.reference !== undefined && b?.reference !== undefined) return a.reference === b.reference;
  const [ours, theirs] = [a.identifier, b?.identifier];
  return ours !== undefined && ours.system === theirs?.system && ours.value === theirs.value;
}
