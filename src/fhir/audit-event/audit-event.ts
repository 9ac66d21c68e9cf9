/**
 * An entry of the ledger as a FHIR R4 AuditEvent by IHE BALP. Nothing of it is stored: it follows from the entry, and the
 * place of that in the ledger is its id.
 */
import type { AuditEvent, AuditEventAgent, AuditEventEntity, Reference as FhirReference } from 'fhir/r4.js';
import type { Author, Reference } from '../../domain/vocabulary/entry.ts';
import * as codes from './codes.ts';
import type { AuditedAccess, AuditedEntry } from './entry.ts';
import * as parts from './parts.ts';

/** The element `patient` that R5 gave AuditEvent, in R4 (R4 versions.html#extensions). */
const PATIENT_EXTENSION = 'http://hl7.org/fhir/5.0/StructureDefinition/extension-AuditEvent.patient';

/** @param canonical start of our canonical URLs, without a slash at the end */
export function auditEventOf(entry: AuditedEntry, canonical: string): AuditEvent {
  if (entry.access !== null) return ofAccess(entry, entry.access, canonical);
  return isAuthor(entry.envelope.actor) && entry.identifier !== null
    ? ofWrite(entry, entry.envelope.actor, canonical)
    : ofService(entry, canonical);
}

const isAuthor = (actor: AuditedEntry['envelope']['actor']): actor is Author =>
  actor.type === 'person' || actor.type === 'device';

const ACTION: Readonly<Record<string, 'C' | 'R' | 'U'>> = {
  create: 'C',
  update: 'U',
  read: 'R',
  vread: 'R',
  'history-instance': 'R',
  'history-type': 'R',
};

function ofAccess(entry: AuditedEntry, access: AuditedAccess, canonical: string): AuditEvent {
  const { interaction, status, patient, subject, times, from, to } = access;
  const { origin } = entry.envelope;
  const isRead = ACTION[interaction] === 'R';
  const [client, server] = isRead ? [codes.DESTINATION, codes.SOURCE] : [codes.SOURCE, codes.DESTINATION];
  const outcome = status < 400 ? '0' : '4';
  const said = [
    ...(status < 400 ? [] : [`answered with HTTP status ${status}`]),
    ...(times === undefined ? [] : [`the same was asked and answered ${times} times in this period`]),
  ];
  return {
    ...headOf(
      entry,
      outcome === '0' && access.client !== null ? codes.profileOf(interaction, patient !== null) : null,
      patient,
    ),
    type: codes.REST,
    subtype: [codes.interactionCoding(interaction)],
    action: ACTION[interaction] ?? 'E',
    ...(from === undefined || to === undefined ? {} : { period: { start: from, end: to } }),
    recorded: entry.envelope.recorded_at,
    outcome,
    ...(said.length === 0 ? {} : { outcomeDesc: said.join('; ') }),
    agent: [
      parts.clientAgent(access, client, subject === null),
      parts.serverAgent(parts.serviceOf(canonical, origin), origin, server),
      ...(subject === null ? [] : [parts.subjectAgent(subject, codes.RECIPIENT, true)]),
    ],
    source: sourceOf(canonical, origin),
    entity: [
      ...(patient === null ? [] : [parts.patientEntity(patient)]),
      ...askedEntities(access, canonical),
      ...parts.requestEntity(access),
    ],
  };
}

const RESOURCE = /^\S+ \/fhir\/([A-Z][A-Za-z]+\/[A-Za-z0-9.-]{1,64}(?:\/_history\/\d{1,9})?)(?:[/?]|$)/;

function askedEntities(access: AuditedAccess, canonical: string): AuditEventEntity[] {
  const { interaction, operation, request, drains } = access;
  if (interaction === 'search-type') {
    const query = btoa(String.fromCharCode(...new TextEncoder().encode(request)));
    return [{ type: codes.SYSTEM_OBJECT, role: codes.QUERY_ROLE, description: operation, query }];
  }
  const resource = RESOURCE.exec(request)?.[1];
  if (resource !== undefined) return [parts.dataEntity({ reference: resource }, request)];
  const whats = drains.map((drain) => drainOf(drain, canonical));
  if (whats.length === 0) return [parts.dataEntity({ display: operation }, request)];
  return whats.map((what) => parts.dataEntity(what, request));
}

const drainOf = (drain: string, canonical: string): FhirReference => ({
  identifier: { system: `${canonical}/drain`, value: drain },
});

/** Every change of what was charted is an update: nothing is deleted here. */
const CHANGES = ['corrected', 'entered-in-error'];

function ofWrite(entry: AuditedEntry, author: Author, canonical: string): AuditEvent {
  const { envelope, patient } = entry;
  const { origin, sent_by: sender, type } = envelope;
  const interaction = CHANGES.includes(type) ? 'update' : 'create';
  const { subject = null } = sender ?? {};
  return {
    ...headOf(entry, sender === undefined ? null : codes.profileOf(interaction, patient !== null), patient),
    type: codes.REST,
    subtype: [codes.interactionCoding(interaction)],
    action: interaction === 'update' ? 'U' : 'C',
    recorded: envelope.recorded_at,
    outcome: '0',
    agent: [
      parts.clientAgent(sender, codes.SOURCE, false),
      parts.serverAgent(parts.serviceOf(canonical, origin), origin, codes.DESTINATION),
      parts.authorAgent(author, codes.AUTHOR),
      ...(subject === null ? [] : [parts.subjectAgent(subject, codes.TOKEN_USER, false)]),
    ],
    source: sourceOf(canonical, origin),
    entity: [
      ...(patient === null ? [] : [parts.patientEntity(patient)]),
      parts.dataEntity(writtenBy(entry), null),
      ...parts.requestEntity(sender),
    ],
  };
}

/** Its Provenance names every version that it made; under its own key it is found wherever it was sent from. */
function writtenBy({ envelope: { stream, entry }, identifier, hasIssued }: AuditedEntry): FhirReference {
  return {
    ...(hasIssued ? { reference: `Provenance/provenance.${stream}.${entry}` } : {}),
    ...(identifier === null ? {} : { identifier }),
  };
}

/** What the service itself wrote, or a person at its command line: a configuration, a key, a restore that was accepted. */
function ofService(entry: AuditedEntry, canonical: string): AuditEvent {
  const { origin, entry: name, actor, recorded_at } = entry.envelope;
  const service = parts.serviceOf(canonical, origin);
  const who: AuditEventAgent = isAuthor(actor)
    ? parts.authorAgent(actor, codes.AUTHOR)
    : { type: codes.APPLICATION, who: service, requestor: true };
  return {
    ...headOf(entry, null, null),
    type: codes.APPLICATION_ACTIVITY,
    action: 'C',
    recorded: recorded_at,
    outcome: '0',
    agent: [who],
    source: sourceOf(canonical, origin),
    entity: [parts.dataEntity({ identifier: { system: `${canonical}/ledger-entry`, value: name } }, null)],
  };
}

const sourceOf = (canonical: string, origin: string): AuditEvent['source'] => ({
  observer: parts.serviceOf(canonical, origin),
  type: [codes.APPLICATION_SERVER],
});

type Head = Pick<AuditEvent, 'resourceType' | 'id' | 'meta' | 'extension'>;

function headOf(
  { logIndex, envelope }: AuditedEntry,
  profile: string | null,
  patient: Reference | null,
): Head {
  return {
    resourceType: 'AuditEvent',
    id: String(logIndex),
    meta: {
      versionId: '1',
      lastUpdated: envelope.recorded_at,
      ...(profile === null ? {} : { profile: [profile] }),
    },
    ...(patient === null
      ? {}
      : {
          extension: [
            { url: PATIENT_EXTENSION, valueReference: { ...parts.asFhir(patient), type: 'Patient' } },
          ],
        }),
  };
}
