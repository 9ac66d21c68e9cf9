import type { CapabilityStatement, CapabilityStatementRestResource } from 'fhir/r4.js';

type Interaction = NonNullable<CapabilityStatementRestResource['interaction']>[number]['code'];

/** What can be done with one resource type; the routes are registered from the same rows. */
interface ResourceCapability {
  readonly type: 'Observation';
  readonly interactions: readonly Interaction[];
}

const RESOURCES: readonly ResourceCapability[] = [
  { type: 'Observation', interactions: ['read', 'vread', 'history-instance'] },
];

export function capabilityStatement(
  publicUrl: string,
  canonical: string,
  started: string,
): CapabilityStatement {
  return {
    resourceType: 'CapabilityStatement',
    url: `${canonical}/CapabilityStatement/drainledger`,
    status: 'active',
    date: started,
    kind: 'instance',
    software: { name: 'drainledger' },
    implementation: {
      description:
        'Chest-drain observations. Not an alarm and not a medical device; local policy and the responsible clinician decide.',
      url: `${publicUrl}/fhir`,
    },
    fhirVersion: '4.0.1',
    format: ['json', 'application/fhir+json'],
    rest: [
      {
        mode: 'server',
        resource: RESOURCES.map(({ type, interactions }) => ({
          type,
          versioning: 'versioned',
          readHistory: true,
          interaction: interactions.map((code) => ({ code })),
        })),
      },
    ],
  };
}
