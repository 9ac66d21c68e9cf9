/** Writes about devices, in FHIR: what was sent becomes an entry of the device, by the same checks as from any other door. */
import type { FastifyReply, FastifyRequest } from 'fastify';
import { writeRequest } from '../../audit/entry-text.ts';
import { isBound } from '../../auth/principal.ts';
import type { DeviceBody } from '../../domain/devices/device.ts';
import type { Author, Identifier, Reference } from '../../domain/vocabulary/entry.ts';
import { drainOfId } from '../../fhir/reference.ts';
import { Refused } from '../../fhir/search/refused.ts';
import { type FhirFault, fhirFault } from '../../intake/fhir/fhir-fault.ts';
import type { Faulty } from '../../intake/fhir/read-observation.ts';
import { readDeviceEntry } from '../../intake/native/read-device.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { writeExact } from '../../json/exact-write.ts';
import { type NotTaken, outOfBounds } from '../../record/incoming.ts';
import { reachesDrain, reachesReceipt } from '../allowed.ts';
import { senderOf } from '../caller.ts';
import { statusOfRefusal } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { preferredReturn } from './asked.ts';
import { FHIR_BASE, FHIR_JSON, issueText } from './outcomes.ts';
import type { NotStored } from './stored.ts';

/** FHIR has no place for an author of a Device: it is whoever sent it. */
export const clientOf = ({ principal }: FastifyRequest, { canonical }: Parts): Author => ({
  type: 'device',
  identifier: { system: `${canonical}/client`, value: principal.client },
});

/** The native entry that says the same, judged by the native schema. @param elementOf path of the element that a place came from */
export function nativeEntry(
  native: object,
  sent: ExactValue,
  elementOf: (pointer: string) => string,
): { readonly body: DeviceBody } | Faulty {
  const read = readDeviceEntry(native as ExactValue);
  if ('faults' in read)
    return { faults: read.faults.map((fault) => fhirFault(fault, elementOf(fault.pointer))) };
  return { body: { ...read.body, received: { resource: writeExact(sent) } } };
}

export interface Charting {
  /** Name of the device. */
  readonly device: string;
  readonly body: DeviceBody;
  readonly patient?: Reference;
  readonly unlessKnown: boolean;
}

/** @returns whether it is new, or what stood in the way */
export async function charted(
  request: FastifyRequest,
  parts: Parts,
  act: Charting,
  elementOf: (pointer: string) => string,
): Promise<{ readonly isNew: boolean } | NotStored> {
  const { principal } = request;
  const mayReach = (drain: string): boolean => reachesDrain(principal, drain, parts.store);
  const sent = { ...act, request: writeRequest(request.body as ExactValue) };
  const outcome = await parts.recordAct(
    isBound(principal) ? { ...sent, mayReach } : sent,
    senderOf(principal),
  );
  // What was answered before is told again only to a client that may reach what it is about.
  if (outcome.kind === 'replayed' && !reachesReceipt(principal, parts.store, outcome.receipt))
    return notTaken(outOfBounds({ pointer: '/device', value: act.device }), elementOf);
  if (outcome.kind === 'refused') return notTaken(outcome.refused as NotTaken, elementOf);
  if (outcome.kind === 'conflict') return usedTwice(act.body.identifier, elementOf);
  request.isRecorded = outcome.kind === 'recorded';
  return { isNew: outcome.kind === 'recorded' };
}

function notTaken(
  { refused, pointer, value, mend }: NotTaken,
  elementOf: (pointer: string) => string,
): NotStored {
  const fault: FhirFault = {
    code: refused === 'out-of-bounds' ? 'forbidden' : 'business-rule',
    pointer: elementOf(pointer),
    value,
    detail: refused.replaceAll('-', ' '),
    mend,
  };
  // The path of the request is known; what is not is in the resource.
  const status = statusOfRefusal(refused);
  return { status: status === 404 ? 422 : status, faults: [fault] };
}

function usedTwice({ system, value }: Identifier, elementOf: (pointer: string) => string): NotStored {
  const fault: FhirFault = {
    code: 'conflict',
    pointer: elementOf('/identifier'),
    value: `${system}|${value}`,
    detail: 'already names something else',
    mend: 'update what it made, or send a new identifier',
  };
  return { status: 409, faults: [fault] };
}

/** The version that the sender knows, from If-Match. @throws {Refused} where it is not the newest one */
export function refuseOutOfDate(base: string, newest: string): void {
  if (base === newest) return;
  const words = `If-Match names version ${base}, the current one is ${newest}: read it again first`;
  throw new Refused(412, 'conflict', words);
}

export interface Shown {
  readonly type: string;
  readonly id: string;
  readonly version: string;
  readonly lastUpdated: string;
  readonly text: string;
}

export function sendShown(
  request: FastifyRequest,
  reply: FastifyReply,
  { type, id, version, lastUpdated, text }: Shown,
  { publicUrl }: Parts,
  isNew: boolean,
): FastifyReply {
  request.shown ??= [drainOfId(id) ?? []].flat();
  reply
    .code(isNew ? 201 : 200)
    .header('location', `${publicUrl()}${FHIR_BASE}/${type}/${id}/_history/${version}`)
    .header('etag', `W/"${version}"`)
    .header('last-modified', new Date(lastUpdated).toUTCString());
  const preferred = preferredReturn(request);
  if (preferred !== null) reply.header('preference-applied', `return=${preferred}`);
  if (preferred === 'minimal') return reply.removeHeader('content-type').send();
  if (preferred !== 'OperationOutcome') return reply.send(text);
  const words = isNew
    ? 'Recorded: on disk before this answer left.'
    : 'Recorded before: nothing was written.';
  return reply.type(FHIR_JSON).send(issueText('information', 'informational', words));
}
