/** What came of something that was sent to be stored: the resource that it is issued as, or what stood in the way. */
import type { FastifyReply, FastifyRequest } from 'fastify';
import { readBody } from '../../audit/entry-text.ts';
import { isBound, type Principal } from '../../auth/principal.ts';
import { allows, READ } from '../../auth/scope.ts';
import type { EntryBody, Identifier, Kind } from '../../domain/vocabulary/entry.ts';
import type { FactName } from '../../domain/vocabulary/fact.ts';
import { identifierText } from '../../domain/vocabulary/identifier-text.ts';
import type { Version } from '../../fhir/bundle.ts';
import { ISSUED_BY_KIND } from '../../fhir/raw-codes.ts';
import { factId, partsOfId } from '../../fhir/reference.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { OBSERVATION } from '../../fhir/search/type-observation.ts';
import type { FhirFault } from '../../intake/fhir/fhir-fault.ts';
import type { Faulty } from '../../intake/fhir/read-observation.ts';
import { type Incoming, type NotTaken, usedBeyond } from '../../record/incoming.ts';
import type { AppendOutcome } from '../../store/port.ts';
import { confined, reachesDrain, reachesReceipt, writeRefusal } from '../allowed.ts';
import { statusOfRefusal } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { preferredReturn, queryOf } from './asked.ts';
import { FHIR_BASE, FHIR_JSON, issueText } from './outcomes.ts';
import { versionsFor, versionsOf } from './versions.ts';

/** What an entry is found as. */
export interface Stored {
  readonly isNew: boolean;
  /** Null while it counts for no drain. */
  readonly id: string | null;
  /** Null where the entry is interim, and while a mark keeps it from being issued. */
  readonly version: Version | null;
  readonly marks: readonly string[];
  readonly interim: boolean;
}
export interface NotStored extends Faulty {
  readonly status: number;
}

/**
 * Why an entry was not taken, or what stands under its identifier is not for its client to see; null when it was taken,
 * or would have been had the rest of its unit been.
 */
export function refusalOf(outcome: AppendOutcome, principal: Principal, parts: Parts): NotStored | null {
  if (outcome.kind === 'refused') return notTaken(outcome.refused as NotTaken, elementOf);
  if (outcome.kind === 'conflict') return keyUsedTwice(outcome.receipt);
  if (outcome.kind !== 'replayed' || reachesFound(outcome.receipt, principal, parts)) return null;
  const { identifier } = JSON.parse(outcome.receipt) as Receipt;
  return notTaken(usedBeyond(identifier), elementOf);
}

/** Whether the client reaches the drain that an entry was charted on, the one that it counts for now, and what stands of it there. */
function reachesFound(receipt: string, principal: Principal, parts: Parts): boolean {
  if (!isBound(principal)) return true;
  if (!reachesReceipt(principal, parts.store, receipt)) return false;
  const told = JSON.parse(receipt) as Receipt;
  const found = whereOf(told, parts);
  if (found === null) return true;
  if (!reachesDrain(principal, found.drain, parts.store)) return false;
  const id = factId(found.drain, { name: found.as, anchor: told.entry });
  const isIssued = versionsOf(parts, OBSERVATION, id).length > 0;
  return !isIssued || versionsFor(parts, principal, OBSERVATION, id).length > 0;
}

interface Receipt {
  readonly drain: string | null;
  readonly sequence: number;
  readonly entry: string;
  readonly identifier: Identifier;
  readonly derived?: { readonly marks: readonly string[] } | null;
  readonly interim?: true;
}

/** @throws {Error} for what {@link refusalOf} names */
export function storedBy(outcome: AppendOutcome, parts: Parts, type: ResourceType): Stored {
  if (!('receipt' in outcome)) throw new Error('what was not taken is not stored');
  const isNew = outcome.kind === 'recorded' || outcome.kind === 'unmatched';
  const receipt = JSON.parse(outcome.receipt) as Receipt;
  const { entry, derived, interim = false } = receipt;
  const found = whereOf(receipt, parts);
  if (found === null) return { isNew, id: null, version: null, marks: [], interim };
  const id = factId(found.drain, { name: found.as, anchor: entry });
  const versions = versionsOf(parts, type, id);
  const version = isNew ? versions[0] : versions.at(-1);
  return { isNew, id, version: version ?? null, marks: derived?.marks ?? [], interim };
}

/** The drain that an entry counts for now, and the fact as which its sender finds it there; null where that is none. */
function whereOf(receipt: Receipt, parts: Parts): { readonly drain: string; readonly as: FactName } | null {
  const routed = parts.store.routedChain(receipt.entry);
  const { drain } = routed ?? receipt;
  if (drain === null) return null;
  return {
    drain,
    as: routed === undefined ? issuedAs(parts, drain, receipt.sequence) : asOf(routed.chain.first.body),
  };
}

function issuedAs({ store }: Parts, drain: string, sequence: number): FactName {
  const [stored] = store.entries(drain, sequence - 1, 1);
  if (stored === undefined) throw new Error('an entry that was recorded is not in the ledger');
  return asOf(readBody(stored.body));
}

const asOf = ({ kind, received }: EntryBody): FactName => (received?.as ?? ISSUED_BY_KIND[kind]) as FactName;

/** Kinds of entries that can be found as an Observation. */
export const ISSUING = Object.keys(ISSUED_BY_KIND) as Kind[];

/** Where a refusal of the ledger points, in FHIRPath. */
const ELEMENTS: Readonly<Record<string, string>> = {
  '/drain': 'Observation.focus[0].identifier',
  '/device': 'Observation.device.identifier',
  '/subject': 'Observation.subject',
  '/bodySite': 'Observation.bodySite',
  '/identifier': 'Observation.identifier[0]',
  '/effective_at': 'Observation.effective',
  '/replacement/effective_at': 'Observation.effective',
};

const elementOf = (pointer: string): string => ELEMENTS[pointer] ?? 'Observation';

/** @param elementOf path of the element that a place of the entry came from */
export function notTaken(
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

function keyUsedTwice(receipt: string): NotStored {
  const { identifier } = JSON.parse(receipt) as Receipt;
  const fault: FhirFault = {
    code: 'conflict',
    pointer: 'Observation.identifier[0]',
    value: identifierText(identifier),
    detail: 'already names something else',
    mend: 'send a new identifier',
  };
  return { status: 409, faults: [fault] };
}

export const locationOf = ({ type, id, version }: Version, parts: Parts): string =>
  `${parts.publicUrl()}${FHIR_BASE}/${type}/${id}/_history/${version}`;

/** Whoever may chart and not read is shown what it made, and nothing of what stood there: that may be another's. */
export const isShownTo = ({ scope }: Principal, { isNew }: Stored): boolean => isNew || allows(scope, READ);

/** @param isShown whether its client may be shown what stands there */
export function sendStored(
  request: FastifyRequest,
  reply: FastifyReply,
  stored: Stored,
  isShown: boolean,
  parts: Parts,
): FastifyReply {
  const { isNew, version, id } = stored;
  request.isRecorded ||= isNew;
  request.shown = id === null ? [] : [partsOfId(id)?.drain ?? []].flat();
  if (version === null) return reply.code(202).type(FHIR_JSON).send(unissuedText(stored));
  return sendWritten(request, reply, { version, isCreated: isNew, isShown }, parts);
}

interface Written {
  readonly version: Version;
  readonly isCreated: boolean;
  readonly isShown: boolean;
}

/** The resource that a write came to, in the form that its sender prefers. */
export function sendWritten(
  request: FastifyRequest,
  reply: FastifyReply,
  { version, isCreated, isShown }: Written,
  parts: Parts,
): FastifyReply {
  reply
    .code(isCreated ? 201 : 200)
    .header('location', locationOf(version, parts))
    .header('etag', `W/"${version.version}"`)
    .header('last-modified', new Date(version.lastUpdated).toUTCString());
  const preferred = preferredReturn(request);
  if (preferred !== null) reply.header('preference-applied', `return=${preferred}`);
  if (!isShown || preferred === 'minimal') return reply.removeHeader('content-type').send();
  if (preferred !== 'OperationOutcome') return reply.send(version.text);
  const words = isCreated
    ? 'Recorded: on disk before this answer left.'
    : 'Recorded before: nothing was written.';
  return reply.type(FHIR_JSON).send(issueText('information', 'informational', words));
}

const UNMATCHED =
  'Recorded, but not issued: the device was on no drain at that time, or its clock leaves open on which. It is listed at /v1/unmatched with the reason, and is issued once an assignment of the device, or a correction by a person, says where it belongs.';

/** What is kept in the ledger, and out of the record: for good, or until another entry clears it. */
export function unissuedText({ id, marks, interim }: Stored): string {
  if (id === null) return issueText('information', 'informational', UNMATCHED);
  const why = interim
    ? 'Recorded, and not issued: it lies between two readings of the device that are charted.'
    : `Recorded, but not issued while it is marked ${marks.join(', ')}: Observation/${id} appears when another entry clears that.`;
  return issueText('information', 'informational', why);
}

/** @throws {Refused} for a query, which could only be a misunderstanding */
export function refuseQuery(request: FastifyRequest): void {
  const unknown = queryOf(request).find(([name]) => name !== '_format');
  if (unknown === undefined) return;
  throw new Refused(
    400,
    'not-supported',
    `${unknown[0].slice(0, 60)} is no parameter of a write: leave it out`,
  );
}

/** What is sent, with what its client is confined to. @throws {Refused} 403 when the client may not write it */
export function permitted({ principal }: FastifyRequest, { store }: Parts, incoming: Incoming): Incoming {
  const refusal = writeRefusal(principal, store, incoming);
  if (refusal !== null) throw new Refused(403, 'forbidden', refusal.detail);
  return confined(principal, store, incoming);
}
