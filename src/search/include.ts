/** What is added to the matches of a search: resources that they refer to, or that refer to them. */
import type { Found } from '../fhir/bundle.ts';
import type { Json } from '../fhir/search/extract.ts';
import type { Query } from '../fhir/search/query.ts';
import type { Followed, ResourceType } from '../fhir/search/resource-type.ts';
import { RESOURCE_TYPES } from '../fhir/search/resource-types.ts';
import { type Hit, NEWEST_FIRST, UNBOUNDED } from './find.ts';
import type { Held } from './held.ts';
import type { Ask } from './port.ts';
import { textsOf } from './texts.ts';
import { amongTheirs } from './within.ts';

/** Each once, and none that is a match itself, or that the client might not have asked for. */
export function included(
  held: Held,
  ask: Ask,
  { type, includes, revincludes }: Query,
  matches: readonly Found[],
  asOf: number,
): readonly Found[] {
  const seen = new Set(matches.map(nameOf));
  const found = [
    ...includes.flatMap((each) => referredTo(held, ask, type, each, matches, asOf)),
    ...revincludes.flatMap((each) => referring(held, ask, each, matches, asOf)),
  ];
  return found.filter((each) => {
    const isNew = !seen.has(nameOf(each));
    seen.add(nameOf(each));
    return isNew;
  });
}

const nameOf = ({ type, id }: Found): string => `${type}/${id}`;

export function foundOf(
  { ledger }: Held,
  { type }: ResourceType,
  hits: readonly Hit[],
  mode: Found['mode'],
): readonly Found[] {
  const texts = textsOf(ledger, hits);
  return hits.map(({ id }, i) => ({ type, id, text: texts[i] ?? '', mode }));
}

/** @throws {Error} for a type that no row of this service is of */
export function typeOf(name: string): ResourceType {
  const found = RESOURCE_TYPES.find(({ type }) => type === name);
  if (found === undefined) throw new Error(`${name} is not held here`);
  return found;
}

/** What the matches refer to and is held here. */
function referredTo(
  held: Held,
  ask: Ask,
  from: ResourceType,
  { parameter, type }: Followed,
  matches: readonly Found[],
  asOf: number,
): readonly Found[] {
  const to = typeOf(type);
  const paths = from.parameters.find(({ name }) => name === parameter)?.paths ?? [];
  const ids = new Set<string>();
  for (const { text } of matches) {
    const resource = JSON.parse(text) as Json;
    for (const { reference } of paths.flatMap((path) => resource[path] ?? []) as readonly {
      reference?: string;
    }[]) {
      const [of, id, ...rest] = (reference ?? '').split('/');
      if (of === type && id !== undefined && rest.length === 0) ids.add(id);
    }
  }
  const hits = [...ids].flatMap((id) => held.current(to, id, asOf) ?? []);
  return foundOf(held, to, amongTheirs(held, to, ask, hits), 'include');
}

/** What refers to any version of the matches. */
function referring(
  held: Held,
  ask: Ask,
  { parameter, type }: Followed,
  matches: readonly Found[],
  asOf: number,
): readonly Found[] {
  const of = typeOf(type);
  const criteria = of.parameters
    .filter(({ name }) => name === parameter)
    .map((each) => ({ parameter: each, by: 'reference' as const, values: matches.map(nameOf) }));
  const hits = held.finder.page(
    held.planner.plan({ type: of, criteria }),
    NEWEST_FIRST,
    asOf,
    null,
    UNBOUNDED,
  );
  return foundOf(held, of, amongTheirs(held, of, ask, hits), 'include');
}
