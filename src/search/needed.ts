/**
 * How far the index has to follow the ledger before it answers. What is asked of some patients is the same whatever was
 * charted of others meanwhile, so it waits for nothing but what was charted of theirs.
 */
import type { Reference } from '../domain/vocabulary/entry.ts';
import type { Criterion } from '../fhir/search/query.ts';
import { readQuery } from '../fhir/search/read-query.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import type { Held } from './held.ts';
import type { Ask } from './port.ts';
import { within } from './within.ts';

/** Number of entries; all that there are, where nothing less is sure. @throws {Refused} */
export function needed(held: Held, type: ResourceType, ask: Ask): number {
  const all = held.follower.target();
  if (!canWaitForLess(type, ask) || held.follower.reached() >= all) return all;
  const query = readQuery(type, ask.pairs, { ...ask, zone: held.zone, others: ['max'] });
  // What comes along with the matches may have been charted of anybody.
  if (query.includes.length > 0 || query.revincludes.length > 0) return all;
  const ofPatients = within(held, type, ask, query.criteria).find(isOfSubject);
  return ofPatients === undefined ? all : held.follower.neededOf((patient) => isMeant(ofPatients, patient));
}

/** Of other types more is issued, or made of entries, than what is about drains; of a further page the link says little. */
const canWaitForLess = ({ type }: ResourceType, { kind, pairs }: Ask): boolean =>
  type === 'Observation' &&
  (kind === 'search' || kind === 'lastn') &&
  !pairs.some(([name]) => name === '_page');

const isOfSubject = (criterion: Criterion): boolean =>
  criterion.parameter.home === 'subject' && criterion.by !== 'missing';

function isMeant(criterion: Criterion, { reference, identifier }: Reference): boolean {
  if (criterion.by === 'reference') return reference !== undefined && criterion.values.includes(reference);
  // Of whom a reference is known, earlier releases kept no identifier.
  if (criterion.by !== 'identifier' || identifier === undefined) return true;
  return criterion.values.some(
    ({ system, code }) =>
      (system === undefined || system === identifier.system) &&
      (code === undefined || code === identifier.value),
  );
}
