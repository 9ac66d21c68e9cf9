/** The FHIR side: one row of RESOURCE_TYPES becomes routes, one interaction or operation at a time. */
import { createHash } from 'node:crypto';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { AccessControl } from '../../auth/access-control.ts';
import type { Principal } from '../../auth/principal.ts';
import { allows } from '../../auth/scope.ts';
import { versionOf } from '../../fhir/bundle.ts';
import { capabilityStatement } from '../../fhir/capability.ts';
import type { MomentOf } from '../../fhir/search/date-range.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { Interaction, Operation, ResourceType } from '../../fhir/search/resource-type.ts';
import { OPERATIONS, RESOURCE_TYPES } from '../../fhir/search/resource-types.ts';
import { DEVICE } from '../../fhir/search/type-device.ts';
import type { Ask } from '../../search/port.ts';
import { momentsOf } from '../../search/zone.ts';
import { acceptForm, alsoAcceptJson } from '../body.ts';
import type { Parts } from '../parts.ts';
import { handlingOf, pairsOf, patientsNamed, queryOf } from './asked.ts';
import { registerBundles } from './bundle-in.ts';
import { confinedTo } from './confined.ts';
import { registerCreate } from './create.ts';
import { registerDefinitions } from './definitions.ts';
import { registerDeviceUse } from './device-use.ts';
import { registerDeviceCreate, registerDeviceUpdate } from './device-writes.ts';
import { FORM, formDoc, INTERACTION_DOCS, METADATA, operationDoc } from './docs.ts';
import { checkBodyVersion, negotiate } from './negotiate.ts';
import { answerRefusals, FHIR_BASE, sendIssue } from './outcomes.ts';
import { registerSmart } from './smart.ts';
import { registerUpdate } from './update.ts';
import { instanceHistory, isKnown, noSuchVersion, sendVersion, versionsFor } from './versions.ts';

export function registerFhir(app: FastifyInstance, parts: Parts, access: AccessControl): void {
  acceptForm(app);
  alsoAcceptJson(app, 'application/fhir+json');
  answerRefusals(app);
  negotiateAnswers(app);
  const zone = momentsOf(parts.calendar.zone);
  registerMetadata(app, parts, access);
  registerSmart(app, access);
  registerDefinitions(app, parts);
  registerBundles(app, parts);
  registerDeviceUse(app, parts);
  for (const type of RESOURCE_TYPES) {
    for (const each of type.interactions) REGISTER[each](app, parts, type, zone);
    for (const each of type.operations) registerOperation(app, parts, type, each);
  }
}

function negotiateAnswers(app: FastifyInstance): void {
  app.addHook('onRequest', (request, _reply, done) => {
    checkBodyVersion(request);
    const { bodyTypes } = request.routeOptions.config.doc ?? {};
    const sent = request.headers['content-type']?.split(';')[0]?.trim().toLowerCase();
    if (bodyTypes !== undefined && sent !== undefined && !bodyTypes.includes(sent))
      throw new Refused(
        415,
        'not-supported',
        `content-type ${sent.slice(0, 60)} is not read here: send ${bodyTypes.join(' or ')}`,
      );
    done();
  });
  // After the body, in which a form may name the format.
  app.addHook('preHandler', (request, reply, done) => {
    reply.type(negotiate(request, takesResource(request) ? queryOf(request) : pairsOf(request)));
    const handling = handlingOf(request);
    if (handling !== null) reply.header('preference-applied', `handling=${handling}`);
    done();
  });
}

/** A form or Parameters name what is asked for; another resource does not. */
function takesResource({ routeOptions }: FastifyRequest): boolean {
  const { bodyTypes = [] } = routeOptions.config.doc ?? {};
  return bodyTypes.length > 0 && !bodyTypes.includes(FORM);
}

function registerMetadata(app: FastifyInstance, parts: Parts, { tokenEndpoint }: AccessControl): void {
  const started = new Date(parts.now()).toISOString();
  app.get('/metadata', { config: { doc: METADATA } }, (request, reply) => {
    const unknown = pairsOf(request).find(([name]) => name !== '_format' && name !== 'mode');
    if (unknown !== undefined)
      throw new Refused(
        400,
        'not-supported',
        `${unknown[0].slice(0, 60)} is no parameter of this: leave it out`,
      );
    const text = JSON.stringify(
      capabilityStatement({
        publicUrl: parts.publicUrl(),
        canonical: parts.canonical,
        zone: parts.calendar.zone,
        started,
        isSmart: tokenEndpoint !== null,
      }),
    );
    const tag = createHash('sha256').update(text).digest('hex').slice(0, 16);
    reply.header('etag', `W/"${tag}"`);
    return isKnown(request, tag, null)
      ? reply.code(304).removeHeader('content-type').send()
      : reply.send(text);
  });
}

interface OfId {
  Params: { id: string };
}
interface OfVersion {
  Params: { id: string; version: string };
}
type Register = (app: FastifyInstance, parts: Parts, type: ResourceType, zone: MomentOf) => void;

const REGISTER: Readonly<Record<Interaction, Register>> = {
  create: (app, parts, type) => (type === DEVICE ? registerDeviceCreate : registerCreate)(app, parts, type),
  update: (app, parts, type) => (type === DEVICE ? registerDeviceUpdate : registerUpdate)(app, parts, type),
  read(app, parts, type) {
    app.get<OfId>(`/${type.type}/:id`, { config: { doc: INTERACTION_DOCS.read(type) } }, (request, reply) => {
      const { id } = request.params;
      if (type.isProjected === true) return sendProjected(request, reply, parts, type);
      return sendVersion(request, reply, type, id, versionsFor(parts, request.principal, type, id).at(-1));
    });
  },
  vread(app, parts, type) {
    const config = { doc: INTERACTION_DOCS.vread(type) };
    app.get<OfVersion>(`/${type.type}/:id/_history/:version`, { config }, (request, reply) => {
      const { id, version } = request.params;
      const versions = versionsFor(parts, request.principal, type, id);
      const found = versions.find((each) => each.version === version);
      const newest = versions.at(-1);
      if (found === undefined && newest !== undefined) throw noSuchVersion(newest, version);
      return sendVersion(request, reply, type, id, found);
    });
  },
  'history-instance'(app, parts, type, zone) {
    const config = { doc: INTERACTION_DOCS['history-instance'](type) };
    app.get<OfId>(`/${type.type}/:id/_history`, { config }, (request, reply) =>
      reply.send(instanceHistory(parts, request, type, request.params.id, zone)),
    );
  },
  'history-type'(app, parts, type) {
    const config = { doc: INTERACTION_DOCS['history-type'](type) };
    app.get(`/${type.type}/_history`, { config }, asking(parts, type, 'history'));
  },
  'search-type'(app, parts, type) {
    const doc = INTERACTION_DOCS['search-type'](type);
    app.get(`/${type.type}`, { config: { doc } }, asking(parts, type, 'search'));
    app.post(`/${type.type}/_search`, { config: { doc: formDoc(type) } }, asking(parts, type, 'search'));
  },
};

function registerOperation(app: FastifyInstance, parts: Parts, type: ResourceType, name: Operation): void {
  const { parameters } = OPERATIONS[name];
  const doc = (byPost: boolean) => operationDoc(type, name, parameters, byPost);
  app.get(`/${type.type}/$${name}`, { config: { doc: doc(false) } }, asking(parts, type, name));
  app.post(`/${type.type}/$${name}`, { config: { doc: doc(true) } }, asking(parts, type, name));
}

const readableBy = ({ scope }: Principal): readonly string[] =>
  RESOURCE_TYPES.map(({ type }) => type).filter((type) => allows(scope, { type, action: 'r' }));

/** What is made when it is read is made by the search index. */
async function sendProjected(
  request: FastifyRequest<OfId>,
  reply: FastifyReply,
  parts: Parts,
  type: ResourceType,
): Promise<FastifyReply> {
  const { id } = request.params;
  const answer = await parts.search.ask({ ...askedBy(request, parts, type, 'read'), pairs: [['_id', id]] });
  if ('text' in answer) return sendVersion(request, reply, type, id, versionOf(answer.text));
  return sendIssue(reply, answer.status, answer.code, answer.diagnostics);
}

const askedBy = (
  request: FastifyRequest,
  { publicUrl, now }: Parts,
  { type }: ResourceType,
  kind: Ask['kind'],
): Ask => ({
  kind,
  type,
  pairs: pairsOf(request),
  base: `${publicUrl()}${FHIR_BASE}`,
  lenient: handlingOf(request) === 'lenient',
  within: confinedTo(request.principal),
  readable: readableBy(request.principal),
  nowMs: now(),
});

/** The search index answers; a form and a URL ask the same. */
function asking(parts: Parts, type: ResourceType, kind: Ask['kind']) {
  return async (request: FastifyRequest, reply: FastifyReply): Promise<FastifyReply> => {
    const ask = askedBy(request, parts, type, kind);
    // Who is confined to a patient asks for that one, whatever else is said.
    request.named = [request.principal.bounds.patient ?? [], patientsNamed(ask.pairs)].flat();
    const answer = await parts.search.ask(ask);
    if ('text' in answer) {
      request.shown = answer.drains;
      return reply.send(answer.text);
    }
    return sendIssue(reply, answer.status, answer.code, answer.diagnostics);
  };
}
