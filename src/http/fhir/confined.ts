import type { Principal } from '../../auth/principal.ts';
import { codingText } from '../../fhir/search/escape.ts';
import type { Pair } from '../../fhir/search/query.ts';
import { Refused } from '../../fhir/search/refused.ts';

/**
 * The search parameter that keeps a client to its patient; null for one that is not confined.
 * @throws {Refused} for a client of one drain: a search cannot tell drains apart
 */
export function confinedTo({ bounds: { patient, drain } }: Principal): Pair | null {
  if (drain !== null)
    throw new Refused(403, 'forbidden', 'The client is confined to one drain: read it at /v1/drains/{drain}');
  if (patient === null) return null;
  if (patient.reference !== undefined) return ['patient', patient.reference];
  const { system = '', value = '' } = patient.identifier ?? {};
  return ['patient.identifier', codingText(system, value)];
}
