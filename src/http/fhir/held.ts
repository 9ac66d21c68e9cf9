/** Searches over resources that are few, made by the code and held in memory. */
import type { FastifyRequest } from 'fastify';
import { type Found, searchset } from '../../fhir/bundle.ts';
import { leftOut } from '../../fhir/outcome.ts';
import { type Json, valuesAt } from '../../fhir/search/extract.ts';
import type { Criterion, Pair, Query, TokenValue } from '../../fhir/search/query.ts';
import { readQuery } from '../../fhir/search/read-query.ts';
import { refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { subset } from '../../fhir/subset.ts';
import { momentsOf } from '../../search/zone.ts';
import type { Parts } from '../parts.ts';
import { handlingOf, pairsOf } from './asked.ts';
import { FHIR_BASE } from './outcomes.ts';

interface Held {
  readonly id?: string | undefined;
}

/** One page of a search. @param held in the order of their ids @throws {Refused} */
export function foundAmong<T extends Held>(
  { publicUrl, calendar }: Pick<Parts, 'publicUrl' | 'calendar'>,
  type: ResourceType,
  held: readonly T[],
  request: FastifyRequest,
): { readonly text: string; readonly shown: readonly T[] } {
  const pairs = pairsOf(request);
  const base = `${publicUrl()}${FHIR_BASE}`;
  const query = readQuery(type, pairs, {
    base,
    zone: momentsOf(calendar.zone),
    lenient: handlingOf(request) === 'lenient',
    others: ['_page'],
  });
  const ordered = query.sort[0]?.descending === true ? held.toReversed() : held;
  const matches = ordered.filter((each) =>
    query.criteria.every((criterion) => fits(each as Json, criterion)),
  );
  const start = readStart(pairs);
  const shown = matches.slice(start, start + query.count);
  const entries = shown.map(
    (each): Found => ({
      type: type.type,
      id: each.id ?? '',
      text: subset(JSON.stringify(each), type, query.view),
      mode: 'match',
    }),
  );
  const end = start + shown.length;
  const next = shown.length > 0 && end < matches.length ? link(base, query, end) : null;
  const links = { self: link(base, query, start), next };
  return { text: searchset(base, entries, links, matches.length, leftOut(query.ignored)), shown };
}

function fits(resource: Json, criterion: Criterion): boolean {
  const values = valuesAt(resource, criterion.parameter);
  switch (criterion.by) {
    case 'missing':
      return (values.length === 0) === criterion.missing;
    case 'token':
      return values.some((value) => criterion.values.some((wanted) => isToken(value, wanted)));
    case 'reference':
      return values.some((value) => criterion.values.includes(String((value as Json).reference)));
    case 'identifier':
      return values.some((value) =>
        criterion.values.some((wanted) => isToken((value as Json).identifier, wanted)),
      );
    default:
      throw new Error(`a parameter of these resources is no ${criterion.by}`);
  }
}

/** @param value a code, or an Identifier */
function isToken(value: unknown, { system, code }: TokenValue): boolean {
  if (typeof value === 'string') return value === code;
  const own = (value ?? {}) as { readonly system?: string; readonly value?: string };
  return (
    (system === undefined || (own.system ?? null) === system) && (code === undefined || own.value === code)
  );
}

/** Further pages start at a place in the list. */
function readStart(pairs: readonly Pair[]): number {
  const page = pairs.find(([name]) => name === '_page')?.[1] ?? '0';
  if (!/^\d{1,4}$/.test(page))
    throw refused('_page', page, 'is no link that was given here', 'use links as they were given');
  return Number(page);
}

function link(base: string, { type, used }: Query, start: number): string {
  const query = new URLSearchParams(used.map(([name, value]): [string, string] => [name, value]));
  if (start > 0) query.set('_page', String(start));
  return `${base}/${type.type}${query.size === 0 ? '' : `?${query}`}`;
}
