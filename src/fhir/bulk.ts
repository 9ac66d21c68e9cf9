/**
 * What can be exported as a whole (FHIR Bulk Data Access 2.0.0, http://hl7.org/fhir/uv/bulkdata/STU2/export.html): one
 * row a kick-off. Routes, CapabilityStatement and API reference are made from these.
 */
import type { ResourceType } from './search/resource-type.ts';
import { DEVICE } from './search/type-device.ts';
import { OBSERVATION } from './search/type-observation.ts';
import { PROVENANCE } from './search/type-provenance.ts';

export interface BulkLevel {
  /** Below the FHIR base. */
  readonly path: string;
  /** Type that the operation stands at; null for the system. */
  readonly type: string | null;
  /** Only what is about a patient. */
  readonly ofPatients: boolean;
  readonly operation: string;
  readonly definition: string;
  readonly summary: string;
}

export const BULK_LEVELS: readonly BulkLevel[] = [
  {
    path: '/$export',
    type: null,
    ofPatients: false,
    operation: 'exportSystem',
    definition: 'http://hl7.org/fhir/uv/bulkdata/OperationDefinition/export',
    summary: 'Export all that was issued',
  },
  {
    path: '/Patient/$export',
    type: 'Patient',
    ofPatients: true,
    operation: 'exportPatients',
    definition: 'http://hl7.org/fhir/uv/bulkdata/OperationDefinition/patient-export',
    summary: 'Export all that was issued about patients',
  },
];

export const BULK_CAPABILITY = 'http://hl7.org/fhir/uv/bulkdata/CapabilityStatement/bulk-data';

/** Types that the ledger issues. Patients are held elsewhere: they are only referred to. */
export const BULK_TYPES: readonly ResourceType[] = [OBSERVATION, DEVICE, PROVENANCE];
