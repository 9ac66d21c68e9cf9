import type { CapabilityStatement } from 'fhir/r4.js';
import { resourceTypes } from './writes.ts';

/**
 * Says what the stand-in can do, in the form in which FHIR clients ask for it.
 *
 * @param base the address under which it is reached
 */
export function capabilityStatement(base: string): CapabilityStatement {
  return {
    resourceType: 'CapabilityStatement',
    status: 'active',
    date: '2025-01-01',
    kind: 'instance',
    software: { name: 'EHR stand-in' },
    implementation: { description: 'Keeps what it is sent, for tests and demonstrations', url: base },
    fhirVersion: '4.0.1',
    format: ['application/fhir+json'],
    rest: [
      {
        mode: 'server',
        resource: resourceTypes.map((type) => ({
          type,
          interaction: [
            { code: 'read' },
            { code: 'vread' },
            { code: 'history-instance' },
            { code: 'search-type' },
            { code: 'create' },
            { code: 'update' },
          ],
          versioning: 'versioned',
          readHistory: true,
          updateCreate: true,
          conditionalCreate: true,
          searchParam: [{ name: 'identifier', type: 'token' }],
        })),
        interaction: [{ code: 'transaction' }, { code: 'batch' }],
      },
    ],
  };
}
