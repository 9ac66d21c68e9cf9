/** Our own CodeSystems, ValueSets and profiles: read, and found by their canonical URL. They are made once and held in memory. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { type Found, searchset } from '../../fhir/bundle.ts';
import { type Definition, definitions } from '../../fhir/definitions/definitions.ts';
import { leftOut } from '../../fhir/outcome.ts';
import type { Criterion, Pair, Query } from '../../fhir/search/query.ts';
import { readQuery } from '../../fhir/search/read-query.ts';
import { Refused, refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { DEFINITION_TYPES } from '../../fhir/search/type-definitions.ts';
import { subset } from '../../fhir/subset.ts';
import { momentsOf } from '../../search/zone.ts';
import type { Parts } from '../parts.ts';
import { handlingOf, pairsOf } from './asked.ts';
import { DEFINITION_READ, formDoc, INTERACTION_DOCS } from './docs.ts';
import { FHIR_BASE } from './outcomes.ts';
import { readView } from './versions.ts';

/** They hold nothing of any patient. */
const OPEN = { access: 'known', concernsNobody: true } as const;

export function registerDefinitions(app: FastifyInstance, parts: Parts): void {
  const all = definitionsOf(parts);
  for (const type of DEFINITION_TYPES) {
    const held = all.filter(({ resourceType }) => resourceType === type.type).sort(byId);
    app.get<{ Params: { id: string } }>(
      `/${type.type}/:id`,
      { config: { doc: DEFINITION_READ(type) } },
      (request, reply) => sendDefinition(request, reply, type, held),
    );
    const search = (request: FastifyRequest, reply: FastifyReply) =>
      reply.send(found(parts, type, held, request));
    app.get(
      `/${type.type}`,
      { config: { doc: { ...INTERACTION_DOCS['search-type'](type), ...OPEN } } },
      search,
    );
    app.post(`/${type.type}/_search`, { config: { doc: { ...formDoc(type), ...OPEN } } }, search);
  }
}

const byId = (a: Definition, b: Definition): number => ((a.id ?? '') < (b.id ?? '') ? -1 : 1);

/** The rules in force, and those that ever were: an advisory may still name them. */
function definitionsOf({ canonical, rules: { version, rules }, policy }: Parts): readonly Definition[] {
  const others = policy.rules.map(({ newest }) => newest);
  const gone = others.filter(({ id }) => !rules.some((rule) => rule.id === id));
  return definitions(canonical, { version, rules: [...rules, ...gone] });
}

function sendDefinition(
  request: FastifyRequest<{ Params: { id: string } }>,
  reply: FastifyReply,
  type: ResourceType,
  held: readonly Definition[],
): FastifyReply {
  const view = readView(pairsOf(request), handlingOf(request) === 'lenient');
  const { id } = request.params;
  const one = held.find((each) => each.id === id);
  if (one === undefined) {
    const known = held.map((each) => each.id).join(', ');
    throw new Refused(404, 'not-found', `No ${type.type} '${id}' is defined here; there are ${known}`);
  }
  return reply.send(subset(JSON.stringify(one), type, view));
}

function found(
  parts: Parts,
  type: ResourceType,
  held: readonly Definition[],
  request: FastifyRequest,
): string {
  const pairs = pairsOf(request);
  const base = `${parts.publicUrl()}${FHIR_BASE}`;
  const query = readQuery(type, pairs, {
    base,
    zone: momentsOf(parts.calendar.zone),
    lenient: handlingOf(request) === 'lenient',
    others: ['_page'],
  });
  const ordered = query.sort[0]?.descending === true ? held.toReversed() : held;
  const matches = ordered.filter((each) => query.criteria.every((criterion) => fits(each, criterion)));
  const start = readStart(pairs);
  const shown = matches.slice(start, start + query.count).map(
    (each): Found => ({
      type: type.type,
      id: each.id ?? '',
      text: subset(JSON.stringify(each), type, query.view),
      mode: 'match',
    }),
  );
  const end = start + shown.length;
  const next = shown.length > 0 && end < matches.length ? link(base, query, end) : null;
  return searchset(
    base,
    shown,
    { self: link(base, query, start), next },
    matches.length,
    leftOut(query.ignored),
  );
}

function fits(definition: Definition, criterion: Criterion): boolean {
  const [path = ''] = criterion.parameter.paths;
  const value = (definition as unknown as Readonly<Record<string, unknown>>)[path];
  if (criterion.by === 'missing') return (value === undefined) === criterion.missing;
  return criterion.by === 'token' && criterion.values.some(({ code }) => code === value);
}

/** Further pages start at a place in a list that only a new start of the service can change. */
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
