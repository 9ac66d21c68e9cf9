/** One page of a search as a Bundle. */
import { type Found, searchset } from '../fhir/bundle.ts';
import { leftOut } from '../fhir/outcome.ts';
import { widened } from '../fhir/search/date-range.ts';
import type { Criterion, Pair, Query } from '../fhir/search/query.ts';
import { readQuery } from '../fhir/search/read-query.ts';
import type { Reading } from '../fhir/search/reading.ts';
import { Refused } from '../fhir/search/refused.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import { subset } from '../fhir/subset.ts';
import type { Hit, Place } from './find.ts';
import type { Held } from './held.ts';
import { foundOf, included, typeOf } from './include.ts';
import type { Ask, Told } from './port.ts';
import { told } from './texts.ts';
import { planWithin } from './within.ts';

/** What a link to a further page holds: the search, the moment it is of, and where the page before ended. */
interface Paging {
  readonly kind: 'search';
  readonly type: string;
  readonly pairs: readonly Pair[];
  readonly nowMs: number;
  readonly asOf: number;
  readonly after: Place | null;
  /** Where it was counted. */
  readonly total: number | null;
}

const MOST_LINK = 6000;

export function search(held: Held, type: ResourceType, ask: Ask): Told {
  const { paging, query } = understood(held, type, ask);
  refuseHidden(query, ask);
  const asked = query.criteria.map((each) => approximately(each, paging.nowMs));
  const plan = planWithin(held, type, ask, asked);
  const { asOf, after } = paging;
  const hits = query.count === 0 ? [] : held.finder.page(plan, query.sort, asOf, after, query.count + 1);
  const shown = hits.slice(0, query.count);
  const total = totalOf(query, paging, hits.length, () => held.finder.count(plan, asOf));
  const last = shown.at(-1);
  const next =
    hits.length > shown.length && last !== undefined
      ? pageLink(held, ask, { ...paging, total, after: held.finder.placeOf(last, query.sort) })
      : null;
  const found = foundTexts(held, ask, query, shown, asOf);
  const links = { self: selfLink(ask, query), next };
  const text = searchset(ask.base, found, links, total, after === null ? leftOut(query.ignored) : null);
  return told(text, found);
}

function refuseHidden({ includes, revincludes }: Query, { readable }: Ask): void {
  const hidden = [...includes, ...revincludes].find(({ type }) => !readable.includes(type));
  if (hidden !== undefined)
    throw new Refused(
      403,
      'forbidden',
      `the client may not read ${hidden.type}, which the search includes: it needs the scope system/${hidden.type}.r`,
    );
}

function understood(
  held: Held,
  type: ResourceType,
  ask: Ask,
): { readonly paging: Paging; readonly query: Query } {
  const link = ask.pairs.find(([name]) => name === '_page');
  const reading: Reading = { base: ask.base, zone: held.zone, lenient: ask.lenient, others: [] };
  if (link === undefined) {
    const query = readQuery(type, ask.pairs, reading);
    const asOf = held.finder.newestRow();
    const start = { kind: 'search', type: type.type, pairs: query.used, nowMs: ask.nowMs } as const;
    return { paging: { ...start, asOf, after: null, total: null }, query };
  }
  const paging = held.seal.unseal(link[1]) as Paging;
  const others = ask.pairs.filter(([name]) => name !== '_page' && name !== '_format');
  if (others.length > 0 || paging.kind !== 'search' || paging.type !== type.type)
    throw new Refused(
      400,
      'invalid',
      '_page stands beside other parameters, or is of another search: use links as they were given',
    );
  return { paging, query: readQuery(type, paging.pairs, reading) };
}

/** `ap` by the time that the first page was asked for, so that all pages mean the same. */
function approximately(criterion: Criterion, nowMs: number): Criterion {
  if (criterion.by !== 'date') return criterion;
  const values = criterion.values.map((each) =>
    each.prefix === 'ap' ? { ...each, range: widened(each.range, nowMs) } : each,
  );
  return { ...criterion, values };
}

/** Given where asked for, and where it costs nothing: when all of it is on the first page. */
function totalOf(query: Query, paging: Paging, found: number, count: () => number): number | null {
  if (paging.total !== null) return paging.total;
  if (query.count > 0 && paging.after === null && found <= query.count) return found;
  return query.count === 0 || query.total === 'accurate' ? count() : null;
}

function selfLink({ base, type, pairs }: Ask, { used }: Query): string {
  const page = pairs.find(([name]) => name === '_page');
  return linkTo(`${base}/${type}`, page === undefined ? used : [page]);
}

export function linkTo(url: string, pairs: readonly Pair[]): string {
  const listed = new URLSearchParams(pairs.map(([name, value]): [string, string] => [name, value]));
  return listed.size === 0 ? url : `${url}?${listed}`;
}

function pageLink(held: Held, { base, type }: Ask, paging: Paging): string {
  const sealed = held.seal.seal(paging);
  if (sealed.length > MOST_LINK)
    throw new Refused(
      400,
      'too-costly',
      'the search is too long to be paged: name fewer values, or raise _count',
    );
  return `${base}/${type}?_page=${sealed}`;
}

function foundTexts(
  held: Held,
  ask: Ask,
  query: Query,
  hits: readonly Hit[],
  asOf: number,
): readonly Found[] {
  const { type, view } = query;
  const matches = foundOf(held, type, hits, 'match');
  return [...matches, ...included(held, ask, query, matches, asOf)].map((each) => ({
    ...each,
    text: subset(each.text, typeOf(each.type), view),
  }));
}
