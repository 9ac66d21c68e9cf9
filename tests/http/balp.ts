/**
 * The patterns of IHE Basic Audit Log Patterns (BALP) 1.1.5 as FHIRPath, line by line after its published profiles
 * (github.com/IHE/ITI.BasicAudit, input/fsh/PatientCreate.fsh, PatientRead.fsh, PatientUpdate.fsh, PatientQuery.fsh at
 * 09fe729), evaluated by fhirpath 5.
 */

import type { AuditEvent } from 'fhir/r4.js';
import fhirpath from 'fhirpath';
import r4 from 'fhirpath/fhir-context/r4';

const DCM = "'http://dicom.nema.org/resources/ontology/DCM'";
const THO = 'http://terminology.hl7.org/CodeSystem';
const agent = (code: string) => `agent.where(type.coding.exists(system = ${DCM} and code = '${code}'))`;
const user = (codes: string) =>
  `agent.where(type.coding.exists(system = '${THO}/v3-ParticipationType' and code in (${codes})))`;
const entity = (code: string) =>
  `entity.where(type.system = '${THO}/audit-entity-type' and type.code = '${code}')`;
const [SOURCE, DESTINATION] = [agent('110153'), agent('110152')];

/** What all patterns ask. */
const basic = (client: string, server: string, users: string): readonly string[] => [
  `type.system = '${THO}/audit-event-type' and type.code = 'rest'`,
  'recorded.exists()',
  "outcome = '0'",
  'agent.count() >= 2',
  ...[client, server].flatMap((each) => [
    `${each}.count() = 1`,
    `${each}.who.exists()`,
    `${each}.network.exists()`,
    `${each}.media.empty()`,
  ]),
  `${users}.count() <= 1`,
  `${users}.all(who.exists() and requestor = true and network.empty() and media.empty())`,
  "entity.where(type.code = 'XrequestId').count() <= 1",
  "entity.where(type.code = 'XrequestId').all(what.identifier.value.exists())",
];

const DATA = [
  `${entity('2')}.count() = 1`,
  `${entity('2')}.all(role.system = '${THO}/object-role' and (role.code in ('3' | '4' | '20')) and what.exists())`,
];
const QUERY = [
  `${entity('2')}.count() = 1`,
  `${entity('2')}.all(role.code = '24' and what.empty() and lifecycle.empty() and detail.empty() and query.exists())`,
];
const PATIENT = [
  `${entity('1')}.count() = 1`,
  `${entity('1')}.all(role.system = '${THO}/object-role' and role.code = '1' and what.exists())`,
  `${entity('1')}.what.all(type = 'Patient' or reference.startsWith('Patient/'))`,
];
const interaction = (codes: string) =>
  `subtype.where(system = 'http://hl7.org/fhir/restful-interaction' and (code in (${codes}))).count() = 1`;

const PATTERNS: Readonly<Record<string, readonly string[]>> = {
  Create: [
    ...basic(SOURCE, DESTINATION, user("'AUT' | 'INF' | 'CST'")),
    interaction("'create'"),
    "action = 'C'",
    ...DATA,
  ],
  Update: [
    ...basic(SOURCE, DESTINATION, user("'AUT' | 'INF' | 'CST'")),
    interaction("'update'"),
    "action = 'U'",
    ...DATA,
  ],
  Read: [
    ...basic(DESTINATION, SOURCE, user("'IRCP'")),
    interaction("'read' | 'vread'"),
    "action = 'R'",
    ...DATA,
  ],
  Query: [
    ...basic(SOURCE, DESTINATION, user("'IRCP'")),
    interaction("'search' | 'search-type' | 'search-system'"),
    "action = 'E'",
    ...QUERY,
  ],
};

/** What a resource breaks of the BALP profile that it names; throws for one that is not known. */
export function brokenPatterns(event: AuditEvent): readonly string[] {
  return (event.meta?.profile ?? []).flatMap((url) => {
    const [, patient, name = ''] = /\/IHE\.BasicAudit\.(Patient)?(\w+)$/.exec(url) ?? [];
    const rules = PATTERNS[name];
    if (rules === undefined) throw new Error(`no pattern ${url}`);
    return [...rules, ...(patient === undefined ? [] : PATIENT)].filter(
      (rule) => (fhirpath.evaluate(event, `AuditEvent.all(${rule})`, undefined, r4) as unknown[])[0] !== true,
    );
  });
}
