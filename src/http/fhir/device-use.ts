/** DeviceUseStatements: an assignment of a device to a drain, sent and shown as one. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import type { Identifier } from '../../domain/vocabulary/entry.ts';
import type { Version } from '../../fhir/bundle.ts';
import { Refused } from '../../fhir/search/refused.ts';
import { DEVICE_USE } from '../../fhir/search/type-device-use.ts';
import { subset } from '../../fhir/subset.ts';
import { type ReadDeviceUse, readDeviceUse, useElement } from '../../intake/fhir/read-device.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { deviceNameOf } from '../../record/device-acts.ts';
import { type DeviceUse, deviceUses, useCalled, usesOf } from '../../record/device-use.ts';
import { nameOf } from '../../record/names.ts';
import { deviceOfRegistered } from '../../record/registry-issue.ts';
import { reachesDrain } from '../allowed.ts';
import type { Parts } from '../parts.ts';
import { handlingOf, pairsOf } from './asked.ts';
import { drainOf, isUnlessKnown } from './create.ts';
import { formDoc, INTERACTION_DOCS } from './docs.ts';
import { foundAmong } from './held.ts';
import { sendFaults } from './outcomes.ts';
import { charted, clientOf, nativeEntry, sendShown } from './registry.ts';
import { refuseQuery } from './stored.ts';
import { baseVersion, outOfDate, refuseOtherId, refuseUnknown } from './update.ts';
import { readView } from './versions.ts';

interface OfId {
  Params: { id: string };
}

const TYPE = DEVICE_USE.type;
const CREATE = {
  ...INTERACTION_DOCS.create(DEVICE_USE),
  summary: 'Say on which drain a device was, and when, as a DeviceUseStatement',
  about:
    'device names the device that is registered, by identifier or as Device/id; derivedFrom the drain, as a Procedure by the identifier of its placement; subject the patient of the drain; timingPeriod from its start, included, to its end, excluded. Status is active without an end, completed with one. It becomes an assignment by the same checks as at /v1, and the resource as sent is kept. The first identifier is the key.',
  body: z.looseObject({}).meta({ description: 'A DeviceUseStatement.' }),
};
const UPDATE = {
  ...INTERACTION_DOCS.update(DEVICE_USE),
  summary: 'End, correct or withdraw an assignment, as a DeviceUseStatement',
  about:
    'The whole of it anew, with its ETag in If-Match: an end closes it, another drain or time corrects it, entered-in-error withdraws it. What the device charted goes where it belongs in the same write.',
  body: z.looseObject({}).meta({ description: 'The DeviceUseStatement, with the id of the URL.' }),
};
const SEARCH = INTERACTION_DOCS['search-type'](DEVICE_USE);

export function registerDeviceUse(app: FastifyInstance, parts: Parts): void {
  app.post(`/${TYPE}`, { config: { doc: CREATE } }, (request, reply) => create(request, reply, parts));
  app.put<OfId>(`/${TYPE}/:id`, { config: { doc: UPDATE } }, (request, reply) =>
    update(request, reply, parts),
  );
  app.get<OfId>(`/${TYPE}/:id`, { config: { doc: INTERACTION_DOCS.read(DEVICE_USE) } }, (request, reply) => {
    const view = readView(pairsOf(request), handlingOf(request) === 'lenient');
    const use = useCalled(parts.store, parts.canonical, request.params.id);
    if (use === undefined)
      throw new Refused(404, 'not-found', `No ${TYPE} '${request.params.id.slice(0, 80)}' is known here`);
    request.shown = [use.assignment.drain];
    const { version, text } = shownOf(use);
    return reply.header('etag', `W/"${version}"`).send(subset(text, DEVICE_USE, view));
  });
  const search = (request: FastifyRequest, reply: FastifyReply): FastifyReply => {
    const uses = deviceUses(parts.store, parts.canonical);
    const { text, shown } = foundAmong(
      parts,
      DEVICE_USE,
      uses.map(({ resource }) => resource),
      request,
    );
    request.shown = uses
      .filter(({ resource }) => shown.includes(resource))
      .map(({ assignment }) => assignment.drain);
    return reply.send(text);
  };
  app.get(`/${TYPE}`, { config: { doc: SEARCH } }, search);
  app.post(`/${TYPE}/_search`, { config: { doc: formDoc(DEVICE_USE) } }, search);
}

async function create(request: FastifyRequest, reply: FastifyReply, parts: Parts): Promise<FastifyReply> {
  refuseQuery(request);
  const sent = request.body as ExactValue;
  const read = readDeviceUse(sent);
  if ('faults' in read) return sendFaults(reply, 422, read.faults);
  if (read.isWithdrawn) return sendFaults(reply, 422, [NEVER_WAS]);
  const device = deviceOf(read);
  const native = {
    ...commonOf(read, read.identifier, request, parts),
    kind: 'assigned',
    drain: drainOf(read.drain, parts.canonical),
    ...read.period,
    reason: read.reason ?? NO_REASON,
  };
  const judged = nativeEntry(native, sent, useElement);
  if ('faults' in judged) return sendFaults(reply, 422, judged.faults);
  const unlessKnown = isUnlessKnown(request.headers['if-none-exist'], TYPE, read.identifier);
  const act = { device, body: judged.body, patient: read.patient, unlessKnown };
  const told = await charted(request, parts, act, useElement);
  if ('faults' in told) return sendFaults(reply, told.status, told.faults);
  const written = { isCreated: told.isNew, isNew: told.isNew };
  return sendNewest(request, reply, { device, identifier: read.identifier, written }, parts);
}

async function update(
  request: FastifyRequest<OfId>,
  reply: FastifyReply,
  parts: Parts,
): Promise<FastifyReply> {
  refuseQuery(request);
  const { id } = request.params;
  const before = useCalled(parts.store, parts.canonical, id) ?? refuseUnknown(id, TYPE);
  const sent = request.body as ExactValue;
  refuseOtherId(sent, id, TYPE);
  const base = baseVersion(request);
  const read = readDeviceUse(sent);
  if ('faults' in read) return sendFaults(reply, 422, read.faults);
  if (deviceOf(read) !== before.device)
    throw new Refused(
      422,
      'business-rule',
      `${TYPE}.device is another: withdraw this one, and POST one of the other`,
    );
  const { assignment, device } = before;
  const key = { system: `${parts.canonical}/update`, value: `${id}/${base}` };
  const isAgain = assignment.members.some((each) => nameOf(each) === nameOf(key));
  const { version } = shownOf(before);
  if (base !== version && !isAgain) throw outOfDate({ version }, base);
  const native = { ...commonOf(read, key, request, parts), ...changeOf(read, before, parts) };
  const judged = nativeEntry(native, sent, useElement);
  if ('faults' in judged) return sendFaults(reply, 422, judged.faults);
  const patient = read.isWithdrawn ? {} : { patient: read.patient };
  const act = { device, body: judged.body, ...patient, unlessKnown: false };
  const told = await charted(request, parts, act, useElement);
  if ('faults' in told) return sendFaults(reply, told.status, told.faults);
  const written = { isCreated: false, isNew: told.isNew };
  return sendNewest(request, reply, { device, identifier: assignment.identifier, written }, parts);
}

const NO_REASON = 'charted as a DeviceUseStatement that gives no reasonCode';
const NEVER_WAS = {
  code: 'business-rule' as const,
  pointer: `${TYPE}.status`,
  value: 'entered-in-error',
  detail: 'says that it never was true',
  mend: 'update what was recorded, or send nothing',
};

/** @throws {Refused} for the id of a Device that is none of those registered here */
function deviceOf({ device }: ReadDeviceUse): string {
  if ('identifier' in device) return deviceNameOf(device.identifier);
  const name = deviceOfRegistered(device.id);
  if (name !== undefined) return name;
  const words = `${TYPE}.device Device/${device.id} is not registered here: register it, by a POST of a Device or at /v1/devices`;
  throw new Refused(422, 'business-rule', words);
}

const commonOf = (
  { author, note }: ReadDeviceUse,
  identifier: Identifier,
  request: FastifyRequest,
  parts: Parts,
) => ({
  identifier,
  author: author ?? clientOf(request, parts),
  effective_at: new Date(parts.now()).toISOString(),
  ...(note === null ? {} : { note }),
});

/** An end that was missing closes it; whatever else is different corrects it. */
function changeOf(read: ReadDeviceUse, { assignment }: DeviceUse, parts: Parts): object {
  const { end: target, drain, from, to, clock_checked } = assignment;
  const reason = read.reason ?? NO_REASON;
  if (read.isWithdrawn) return { kind: 'entered-in-error', target, reason };
  const said = { drain: drainOf(read.drain, parts.canonical), ...read.period };
  const closes = to === undefined && said.to !== undefined && said.drain === drain && said.from === from;
  if (closes) return { kind: 'closed', target, to: said.to, reason };
  const checked = clock_checked === undefined ? {} : { clock_checked };
  return { kind: 'corrected', target, replacement: { ...said, ...checked }, reason };
}

interface Written {
  readonly device: string;
  readonly identifier: Identifier;
  readonly written: { readonly isCreated: boolean; readonly isNew: boolean };
}

function sendNewest(
  request: FastifyRequest,
  reply: FastifyReply,
  { device, identifier, written }: Written,
  parts: Parts,
): FastifyReply {
  const use = usesOf(parts.store, parts.canonical, device).find(
    ({ assignment }) => nameOf(assignment.identifier) === nameOf(identifier),
  );
  if (use === undefined) throw new Error('an assignment to a drain of a patient is shown');
  const { drain } = use.assignment;
  // Sent again by another client, what it made may be of a drain beyond that one's.
  if (!reachesDrain(request.principal, drain, parts.store))
    throw new Refused(
      403,
      'forbidden',
      'The client is confined to one patient or drain, and this is not theirs.',
    );
  request.shown = [drain];
  return sendShown(request, reply, shownOf(use), parts, written);
}

const shownOf = ({ id, resource }: DeviceUse): Version => ({
  type: TYPE,
  id,
  version: resource.meta?.versionId ?? '',
  lastUpdated: resource.meta?.lastUpdated ?? '',
  text: JSON.stringify(resource),
});
