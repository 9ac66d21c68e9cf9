/** Codes of AuditEvent, as IHE Basic Audit Log Patterns (BALP) 1.1 asks for them: https://profiles.ihe.net/ITI/BALP/ */
import type { CodeableConcept, Coding } from 'fhir/r4.js';

const THO = 'http://terminology.hl7.org/CodeSystem';
const DCM = 'http://dicom.nema.org/resources/ontology/DCM';
const BALP = 'https://profiles.ihe.net/ITI/BALP';

const coding = (system: string, code: string, display: string): Coding => ({ system, code, display });
const concept = (system: string, code: string, display: string): CodeableConcept => ({
  coding: [coding(system, code, display)],
});

export const REST = coding(`${THO}/audit-event-type`, 'rest', 'RESTful Operation');
export const APPLICATION_ACTIVITY = coding(DCM, '110100', 'Application Activity');
export const APPLICATION_SERVER = coding(`${THO}/security-source-type`, '4', 'Application Server');

/** Of these, a code and its display are the same word. */
export const interactionCoding = (interaction: string): Coding =>
  coding('http://hl7.org/fhir/restful-interaction', interaction, interaction);

/** Parts that agents take; which of client and server is the source depends on where what matters comes from. */
export const SOURCE = concept(DCM, '110153', 'Source Role ID');
export const DESTINATION = concept(DCM, '110152', 'Destination Role ID');
export const APPLICATION = concept(DCM, '110150', 'Application');
export const AUTHOR = concept(`${THO}/v3-ParticipationType`, 'AUT', 'author (originator)');
export const RECIPIENT = concept(`${THO}/v3-ParticipationType`, 'IRCP', 'information recipient');
export const TOKEN_USER = concept(
  `${BALP}/CodeSystem/UserAgentTypes`,
  'UserOauthAgent',
  'User OAuth Agent participant',
);

export const PERSON = coding(`${THO}/audit-entity-type`, '1', 'Person');
export const SYSTEM_OBJECT = coding(`${THO}/audit-entity-type`, '2', 'System Object');
export const REQUEST_ID = coding(`${BALP}/CodeSystem/BasicAuditEntityType`, 'XrequestId', 'XrequestId');

export const PATIENT_ROLE = coding(`${THO}/object-role`, '1', 'Patient');
export const RESOURCE_ROLE = coding(`${THO}/object-role`, '4', 'Domain Resource');
export const QUERY_ROLE = coding(`${THO}/object-role`, '24', 'Query');

export const NETWORK = { machine: '1', address: '2' } as const;

/** The patterns that BALP names; of other interactions it says nothing. */
const PATTERNS: Readonly<Record<string, string>> = {
  create: 'Create',
  read: 'Read',
  vread: 'Read',
  update: 'Update',
  'search-type': 'Query',
};

/** The profile that a success conforms to; null where there is none. */
export function profileOf(interaction: string, isOfPatient: boolean): string | null {
  const pattern = PATTERNS[interaction];
  const name = `IHE.BasicAudit.${isOfPatient ? 'Patient' : ''}${pattern}`;
  return pattern === undefined ? null : `${BALP}/StructureDefinition/${name}`;
}
