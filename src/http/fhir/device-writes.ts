/** A Device that is sent: its registration, and what becomes of that. Where it was is a DeviceUseStatement. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import type { DeviceBook, Registration } from '../../domain/devices/device.ts';
import { stayAt } from '../../domain/devices/device.ts';
import { epochMs } from '../../domain/numbers/units.ts';
import type { Identifier } from '../../domain/vocabulary/entry.ts';
import type { Version } from '../../fhir/bundle.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { fhirFault } from '../../intake/fhir/fhir-fault.ts';
import { type ReadDevice, readDevice } from '../../intake/fhir/read-device.ts';
import { readRegistration } from '../../intake/native/read-device.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { writeExact } from '../../json/exact-write.ts';
import { deviceNameOf } from '../../record/device-acts.ts';
import { statusOf } from '../../record/device-view.ts';
import { nameOf } from '../../record/names.ts';
import { deviceOfRegistered, registeredId } from '../../record/registry-issue.ts';
import type { Parts } from '../parts.ts';
import { isUnlessKnown } from './create.ts';
import { INTERACTION_DOCS } from './docs.ts';
import { sendFaults } from './outcomes.ts';
import { charted, clientOf, nativeEntry, sendShown } from './registry.ts';
import { refuseQuery } from './stored.ts';
import { baseVersion, outOfDate, refuseOtherId, refuseUnknown } from './update.ts';
import { versionsOf } from './versions.ts';

interface OfId {
  Params: { id: string };
}

const CREATE = {
  summary: 'Register a device, as a Device',
  about:
    'The first identifier is what the device is known by; type is one of our codes collection-unit and monitor, beside any other. The same again is answered with what it made. Where the device is, a DeviceUseStatement says. The resource as sent is kept in the ledger.',
  body: z.looseObject({}).meta({ description: 'A Device.' }),
};
const UPDATE = {
  summary: 'Correct, retire or withdraw a device that is registered, as a Device',
  about:
    'With the ETag of the version that it replaces in If-Match. Another type corrects the registration; status inactive takes the device out of use from now on, and active brings it back; entered-in-error withdraws the registration. One change at a time.',
  body: z.looseObject({}).meta({ description: 'The Device, with the id of the URL.' }),
};

export function registerDeviceCreate(app: FastifyInstance, parts: Parts, type: ResourceType): void {
  const config = { doc: { ...INTERACTION_DOCS.create(type), ...CREATE } };
  app.post('/Device', { config }, async (request, reply) => {
    refuseQuery(request);
    const sent = request.body as ExactValue;
    const read = readDevice(sent, parts.canonical);
    if ('faults' in read) return sendFaults(reply, 422, read.faults);
    const native = registrationOf(read, request, parts);
    const judged = readRegistration(native as ExactValue);
    const faults =
      'faults' in judged ? judged.faults.map((each) => fhirFault(each, elementOf(each.pointer))) : [];
    if (read.status !== null && read.status !== 'active') faults.push(notInUse(read.status));
    if ('faults' in judged || faults.length > 0) return sendFaults(reply, 422, faults);
    const body = { ...judged.body, received: { resource: writeExact(sent) } };
    const device = deviceNameOf(read.device);
    const unlessKnown = isUnlessKnown(request.headers['if-none-exist'], 'Device', read.device);
    const told = await charted(request, parts, { device, body, unlessKnown }, elementOf);
    if ('faults' in told) return sendFaults(reply, told.status, told.faults);
    const version = versionsOf(parts, type, registeredId(device, body.identifier)).at(-1);
    if (version === undefined) throw new Error('a registration is issued with its entry');
    return sendShown(request, reply, version, parts, { isCreated: told.isNew, isNew: told.isNew });
  });
}

const registrationOf = ({ device, type }: ReadDevice, request: FastifyRequest, parts: Parts) => ({
  identifier: { system: `${parts.canonical}/registration`, value: deviceNameOf(device) },
  author: clientOf(request, parts),
  effective_at: new Date(parts.now()).toISOString(),
  device,
  type,
});

const notInUse = (status: string) => ({
  code: 'business-rule' as const,
  pointer: 'Device.status',
  value: status,
  detail: 'is not that of a device that is registered',
  mend: 'send active, or leave it out, and update the status afterwards',
});

const elementOf = (pointer: string): string =>
  pointer === '/type' || pointer.startsWith('/replacement')
    ? 'Device.type'
    : pointer === '/from' || pointer === '/to' || pointer === '/target'
      ? 'Device.status'
      : pointer === '/reason'
        ? 'Device.statusReason'
        : pointer.startsWith('/device') || pointer === '/identifier'
          ? 'Device.identifier[0]'
          : 'Device';

export function registerDeviceUpdate(app: FastifyInstance, parts: Parts, type: ResourceType): void {
  const config = { doc: { ...INTERACTION_DOCS.update(type), ...UPDATE } };
  app.put<OfId>('/Device/:id', { config }, async (request, reply) => {
    refuseQuery(request);
    const { id } = request.params;
    const newest = (): Version => versionsOf(parts, type, id).at(-1) ?? refuseUnknown(id, 'Device');
    const before = newest();
    const sent = request.body as ExactValue;
    refuseOtherId(sent, id, 'Device');
    const read = readDevice(sent, parts.canonical);
    if ('faults' in read) return sendFaults(reply, 422, read.faults);
    return sendUpdate(request, reply, { parts, before, read, sent, newest });
  });
}

interface Update {
  readonly parts: Parts;
  readonly before: Version;
  readonly read: ReadDevice;
  readonly sent: ExactValue;
  newest(): Version;
}

async function sendUpdate(
  request: FastifyRequest,
  reply: FastifyReply,
  { parts, before, read, sent, newest }: Update,
): Promise<FastifyReply> {
  const base = baseVersion(request);
  const { device, book, registration } = registeredAs(before.id, parts);
  // Named by what it replaces: the same update sent again is the same entry.
  const key = { system: `${parts.canonical}/update`, value: `${before.id}/${base}` };
  if (base !== before.version && !isKnown(book, key)) throw outOfDate(before, base);
  if (nameOf(read.device) !== nameOf(registration.device))
    throw notChanged('identifier', 'withdraw this device and register the other');
  const change = changeOf(read, book, registration, parts);
  const common = {
    identifier: key,
    author: clientOf(request, parts),
    effective_at: new Date(parts.now()).toISOString(),
  };
  const judged = nativeEntry({ ...common, ...change }, sent, elementOf);
  if ('faults' in judged) return sendFaults(reply, 422, judged.faults);
  const told = await charted(request, parts, { device, body: judged.body, unlessKnown: false }, elementOf);
  if ('faults' in told) return sendFaults(reply, told.status, told.faults);
  return sendShown(request, reply, newest(), parts, { isCreated: false, isNew: told.isNew });
}

function registeredAs(id: string, { store }: Parts) {
  const device = deviceOfRegistered(id);
  const book = device === undefined ? undefined : store.device(device);
  if (device !== undefined && book?.registration != null)
    return { device, book, registration: book.registration };
  throw new Refused(
    422,
    'business-rule',
    `Device ${id} is the collection unit of a set-up: correct that entry at /v1/drains/{drain}/entries`,
  );
}

const isKnown = ({ registration, stays }: DeviceBook, key: Identifier): boolean =>
  [...(registration?.members ?? []), ...stays.flatMap(({ members }) => members)].some(
    (each) => nameOf(each) === nameOf(key),
  );

const notChanged = (element: string, mend: string): Refused =>
  new Refused(422, 'business-rule', `Device.${element} is not what it was: ${mend}`);

const NO_REASON = 'updated as a Device that gives no statusReason';

/** @throws {Refused} for several changes at once, which would be several entries */
function changeOf(read: ReadDevice, book: DeviceBook, registration: Registration, { now }: Parts): object {
  const reason = read.reason ?? NO_REASON;
  if (read.status === 'entered-in-error')
    return { kind: 'entered-in-error', target: registration.end, reason };
  const at = epochMs(now());
  const isMoved = read.status !== null && read.status !== statusOf(book, at);
  if (isMoved && read.type !== registration.type)
    throw notChanged('type', 'send the other status first, and the other type with the next update');
  if (!isMoved)
    return { kind: 'corrected', target: registration.end, replacement: { type: read.type }, reason };
  const time = new Date(at).toISOString();
  const retirement = stayAt(book, at);
  return retirement === null || read.status === 'inactive'
    ? { kind: 'retired', from: time, reason }
    : { kind: 'closed', target: retirement.end, to: time, reason };
}
