/**
 * Of HL7's Point-of-Care Device IG what its profiles ask for beyond R4: HL7/uv-pocd, CI build of 2026-07-22 (commit
 * 9be0922), input/resources/StructureDefinition-*.xml, the elements whose min, max or type the differential changes.
 */
import type { ElementDefinition, StructureDefinition } from 'fhir/r4.js';
import { createStructureJudge, type ProfileJudge } from '../support/profiles.ts';

const IG = 'http://hl7.org/fhir/uv/pocd/StructureDefinition';
const to = (...profiles: readonly string[]): Pick<ElementDefinition, 'min' | 'type'> => ({
  min: 1,
  type: [{ code: 'Reference', targetProfile: profiles.map((each) => `${IG}/${each}`) }],
});
const oneOf = (...codes: readonly string[]) => ({ type: codes.map((code) => ({ code })) });

type Asked = readonly (readonly [path: string, change: Partial<ElementDefinition>])[];

const observation = (metric: string, ...values: readonly string[]): Asked => [
  ['Observation.subject', { min: 1 }],
  ['Observation.effective[x]', { min: 1, ...oneOf('dateTime', 'Period') }],
  ['Observation.value[x]', oneOf(...values)],
  ['Observation.device', to(metric)],
];
const METRIC: Asked = [
  ['DeviceMetric.source', to('MdsDevice')],
  ['DeviceMetric.parent', to('ChannelDevice')],
];
const part = (parent: string): Asked => [
  ['Device.type', { min: 1 }],
  ['Device.patient', { max: '0' }],
  ['Device.location', { max: '0' }],
  ['Device.parent', to(parent)],
];

const PROFILES: Readonly<Record<string, Asked>> = {
  NumericObservation: observation('NumericDeviceMetric', 'Quantity', 'Ratio'),
  EnumerationObservation: observation('EnumerationDeviceMetric', 'CodeableConcept', 'string'),
  NumericDeviceMetric: METRIC,
  EnumerationDeviceMetric: [...METRIC, ['DeviceMetric.unit', { max: '0' }]],
  MdsDevice: [['Device.type', { min: 1 }]],
  VmdDevice: part('MdsDevice'),
  ChannelDevice: part('VmdDevice'),
};

/** By the URL of each profile. */
export const POCD_JUDGES: ReadonlyMap<string, ProfileJudge> = new Map(
  Object.entries(PROFILES).map(([name, asked]) => [
    `${IG}/${name}`,
    createStructureJudge(asProfile(name, asked)),
  ]),
);

/** By the URL of each profile: which profile each of its references is to. */
export const POCD_TARGETS: ReadonlyMap<string, Readonly<Record<string, string>>> = new Map(
  Object.entries(PROFILES).map(([name, asked]) => [
    `${IG}/${name}`,
    Object.fromEntries(
      asked.flatMap(([path, { type }]) => {
        const [target] = type?.[0]?.targetProfile ?? [];
        return target === undefined ? [] : [[path.slice(path.indexOf('.') + 1), target]];
      }),
    ),
  ]),
);

function asProfile(name: string, asked: Asked): StructureDefinition {
  const [type = ''] = asked[0]?.[0].split('.') ?? [];
  return {
    ...{ resourceType: 'StructureDefinition', id: name, url: `${IG}/${name}`, name, status: 'draft' },
    ...{ kind: 'resource', abstract: false, type },
    differential: { element: asked.map(([path, change]) => ({ id: path, path, ...change })) },
  };
}
