/** Our own CodeSystems, ValueSets and profiles: read, and found by their canonical URL. They are made once and held in memory. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { type Definition, definitions } from '../../fhir/definitions/definitions.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { DEFINITION_TYPES } from '../../fhir/search/type-definitions.ts';
import { subset } from '../../fhir/subset.ts';
import type { Parts } from '../parts.ts';
import { handlingOf, pairsOf } from './asked.ts';
import { DEFINITION_READ, formDoc, INTERACTION_DOCS } from './docs.ts';
import { foundAmong } from './held.ts';
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
      reply.send(foundAmong(parts, type, held, request).text);
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
