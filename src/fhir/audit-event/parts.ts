/** Agents and entities of AuditEvents. */
import type {
  AuditEventAgent,
  AuditEventEntity,
  CodeableConcept,
  Reference as FhirReference,
} from 'fhir/r4.js';
import type { Author, Reference } from '../../domain/vocabulary/entry.ts';
import { NETWORK, PATIENT_ROLE, PERSON, REQUEST_ID, RESOURCE_ROLE, SYSTEM_OBJECT } from './codes.ts';
import type { Sender } from './entry.ts';

/** @param origin name of this log, by which the service is known as a device */
export const serviceOf = (canonical: string, origin: string): FhirReference => ({
  type: 'Device',
  identifier: { system: `${canonical}/service`, value: origin },
  display: 'drainledger',
});

export function clientAgent(
  sender: Sender | undefined,
  type: CodeableConcept,
  isRequestor: boolean,
): AuditEventAgent {
  const { client = null, credential = null, address } = sender ?? {};
  return {
    type,
    who: client === null ? { display: 'not known' } : { identifier: { value: client } },
    requestor: isRequestor,
    ...(credential === null ? {} : { policy: [credential] }),
    ...(address === undefined ? {} : { network: { address, type: NETWORK.address } }),
  };
}

export const serverAgent = (who: FhirReference, origin: string, type: CodeableConcept): AuditEventAgent => ({
  type,
  who,
  requestor: false,
  network: { address: origin, type: NETWORK.machine },
});

/** Who works with the client, by its token. */
export const subjectAgent = (
  subject: string,
  type: CodeableConcept,
  requestor: boolean,
): AuditEventAgent => ({
  type,
  who: { identifier: { value: subject } },
  requestor,
});

export const authorAgent = (author: Author, type: CodeableConcept): AuditEventAgent => ({
  type,
  who: asFhir(author),
  requestor: true,
});

export const asFhir = ({ reference, identifier }: Partial<Reference>): FhirReference => ({
  ...(reference === undefined ? {} : { reference }),
  ...(identifier === undefined ? {} : { identifier }),
});

export const patientEntity = (patient: Reference): AuditEventEntity => ({
  what: { ...asFhir(patient), type: 'Patient' },
  type: PERSON,
  role: PATIENT_ROLE,
});

export const dataEntity = (what: FhirReference | null, request: string | null): AuditEventEntity => ({
  ...(what === null ? {} : { what }),
  type: SYSTEM_OBJECT,
  role: RESOURCE_ROLE,
  ...(request === null ? {} : { detail: [{ type: 'request', valueString: request }] }),
});

export const requestEntity = (sender: Sender | undefined): AuditEventEntity[] =>
  typeof sender?.request_id !== 'string'
    ? []
    : [{ what: { identifier: { value: sender.request_id } }, type: REQUEST_ID }];
