/** Writes about devices, in FHIR: what was sent becomes an entry of the device, by the same checks as from any other door. */
import type { FastifyReply, FastifyRequest } from 'fastify';
import { writeRequest } from '../../audit/entry-text.ts';
import { allows } from '../../auth/scope.ts';
import type { DeviceBody } from '../../domain/devices/device.ts';
import type { Author, Identifier } from '../../domain/vocabulary/entry.ts';
import { identifierText } from '../../domain/vocabulary/identifier-text.ts';
import type { Version } from '../../fhir/bundle.ts';
import { drainOfId } from '../../fhir/reference.ts';
import { type FhirFault, fhirFault } from '../../intake/fhir/fhir-fault.ts';
import type { Faulty } from '../../intake/fhir/read-observation.ts';
import { readDeviceEntry } from '../../intake/native/read-device.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { writeExact } from '../../json/exact-write.ts';
import type { IncomingAct } from '../../record/device-acts.ts';
import { type NotTaken, outOfBounds } from '../../record/incoming.ts';
import { confinedAct, reachesReceipt } from '../allowed.ts';
import { senderOf } from '../caller.ts';
import type { Parts } from '../parts.ts';
import { type NotStored, notTaken, sendWritten } from './stored.ts';

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

/** @returns whether it is new, or what stood in the way */
export async function charted(
  request: FastifyRequest,
  parts: Parts,
  act: Omit<IncomingAct, 'request' | 'mayReach'>,
  elementOf: (pointer: string) => string,
): Promise<{ readonly isNew: boolean } | NotStored> {
  const { principal } = request;
  const sent = { ...act, request: writeRequest(request.body as ExactValue) };
  const outcome = await parts.recordAct(confinedAct(principal, parts.store, sent), senderOf(principal));
  // What was answered before is told again only to a client that may reach what it is about.
  if (outcome.kind === 'replayed' && !reachesReceipt(principal, parts.store, outcome.receipt))
    return notTaken(outOfBounds({ pointer: '/device', value: act.device }), elementOf);
  if (outcome.kind === 'refused') return notTaken(outcome.refused as NotTaken, elementOf);
  if (outcome.kind === 'conflict') return usedTwice(act.body.identifier, elementOf);
  request.isRecorded = outcome.kind === 'recorded';
  return { isNew: outcome.kind === 'recorded' };
}

function usedTwice(identifier: Identifier, elementOf: (pointer: string) => string): NotStored {
  const fault: FhirFault = {
    code: 'conflict',
    pointer: elementOf('/identifier'),
    value: identifierText(identifier),
    detail: 'already names something else',
    mend: 'update what it made, or send a new identifier',
  };
  return { status: 409, faults: [fault] };
}

export function sendShown(
  request: FastifyRequest,
  reply: FastifyReply,
  version: Version,
  parts: Parts,
  { isCreated, isNew }: { readonly isCreated: boolean; readonly isNew: boolean },
): FastifyReply {
  request.shown ??= [drainOfId(version.id) ?? []].flat();
  // What stood there already may be another's: whoever may write and not read is shown what it made, and no more.
  const isShown = isNew || allows(request.principal.scope, { type: version.type, action: 'r' });
  return sendWritten(request, reply, { version, isCreated, isShown }, parts);
}
