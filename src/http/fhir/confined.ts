import type { Principal } from '../../auth/principal.ts';
import type { Reference } from '../../domain/vocabulary/entry.ts';
import { codingText } from '../../fhir/search/escape.ts';
import type { Pair } from '../../fhir/search/query.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { Confines } from '../../search/port.ts';

/**
 * What keeps the searches of a client to its patient; null for one that is not confined.
 * @throws {Refused} for a client of one drain: a search cannot tell drains apart
 */
export function confinedTo({ bounds: { patient, drain } }: Principal): Confines | null {
  if (drain !== null)
    throw new Refused(403, 'forbidden', 'The client is confined to one drain: read it at /v1/drains/{drain}');
  if (patient === null) return null;
  return { patient, pair: pairOf(patient) };
}

function pairOf({ reference, identifier }: Reference): Pair {
  if (reference !== undefined) return ['patient', reference];
  const { system = '', value = '' } = identifier ?? {};
  return ['patient.identifier', codingText(system, value)];
}
