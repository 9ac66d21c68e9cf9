import { Refused } from '../fhir/search/refused.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import type { Held } from './held.ts';
import type { Ask, Told } from './port.ts';
import { textsOf, told } from './texts.ts';

/** One resource by its id, which is asked for as `_id`. @throws {Refused} 404 where there is none */
export function read(held: Held, type: ResourceType, { pairs }: Ask): Told {
  const id = pairs.find(([name]) => name === '_id')?.[1] ?? '';
  const hit = held.current(type, id, held.finder.newestRow());
  if (hit === undefined) throw new Refused(404, 'not-found', `There is no ${type.type} '${id}'`);
  const [text = ''] = textsOf(held.ledger, [hit]);
  return told(text, []);
}
