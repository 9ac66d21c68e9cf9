import type { Criterion } from '../fhir/search/query.ts';
import { readQuery } from '../fhir/search/read-query.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import type { Held } from './held.ts';
import type { Ask } from './port.ts';

/** What is asked, and what the client is confined to beside it. */
export function within(
  { zone }: Held,
  type: ResourceType,
  { within, base }: Ask,
  asked: readonly Criterion[],
): readonly Criterion[] {
  if (within === null) return asked;
  const reading = { base, zone, lenient: false, others: [] };
  return [...asked, ...readQuery(type, [within], reading).criteria];
}
