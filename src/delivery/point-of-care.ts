/**
 * What was read off a unit or measured by a device, as HL7's Point-of-Care Device IG has it (HL7/uv-pocd, CI build of
 * 2026-07-22, commit 9be0922): an Observation of a DeviceMetric, which is of a channel of a virtual device of the unit.
 * What the service worked out comes from no device, and stays as it is issued.
 */
import { createHash } from 'node:crypto';
import type { FactName } from '../domain/vocabulary/fact.ts';
import { FACT_CODES, type FactCode } from '../fhir/codes.ts';
import { type Coding, UCUM } from '../fhir/codings.ts';
import { type ExactValue, parseExactJson } from '../json/exact-json.ts';
import { writeExact } from '../json/exact-write.ts';
import { isFact, type Resource, resourceOf, textOf } from './resource.ts';

export const PROFILES = ['base', 'pocd'] as const;
export type Profile = (typeof PROFILES)[number];
/** Types of what is sent in this profile, so that a target has to take them all. */
export const POINT_OF_CARE_TYPES = ['Observation', 'Device', 'DeviceMetric'];

const IG = 'http://hl7.org/fhir/uv/pocd/StructureDefinition';
const MDC = 'urn:iso:std:iso:11073:10101';
/** ISO/IEEE 11073-10101 'Drainage volume in bag', as the German MII ICU module has it; its reference id was not seen. */
const DRAINAGE_IN_BAG = { system: MDC, code: '157740' };
const MILLILITRE = { system: MDC, code: '263762', display: 'MDC_DIM_MILLI_L' };

interface Read {
  readonly id: string;
  readonly code: { readonly coding: readonly Coding[]; readonly text?: string };
  readonly device: object & { readonly reference?: string };
}

/** Resources in this profile, each after the metric, channel and virtual device that it refers to. */
export function atPointOfCare(
  resources: readonly Resource[],
  canonical: string,
): readonly Resource<string>[] {
  const named = new Map<string, Resource<string>>();
  for (const resource of resources)
    for (const each of projected(resource, canonical)) named.set(each.name, each);
  return [...named.values()];
}

function projected(resource: Resource, canonical: string): readonly Resource<string>[] {
  const { type, id } = resource;
  const text = textOf(resource.text);
  if (type === 'Device') return [inProfile(parseExactJson(text) as object, 'MdsDevice')];
  const kind = type === 'Observation' && isFact(id) ? kindOf(factRow(id)) : null;
  if (kind === null || !text.includes('"device":')) return [{ ...resource, text }];
  const read = parseExactJson(text) as unknown as Read;
  const fact = id.slice(0, id.indexOf('.')) as FactName;
  const coding = fact === 'level' ? [...read.code.coding, DRAINAGE_IN_BAG] : read.code.coding;
  const code = { ...read.code, coding };
  const parts = partsOf(read, `metric-${fact}`);
  const metric = { ...metricOf(fact, kind, code), ...parts.metric };
  const chain = [parts.virtual, parts.channel, metric].map((part) => asResource(part, canonical));
  const device = { reference: `DeviceMetric/${parts.metric.id}` };
  return [...chain, inProfile({ ...read, code, device }, `${kind}Observation`)];
}

type Kind = 'Numeric' | 'Enumeration';

const KINDS: Readonly<Record<FactCode['value'], Kind | null>> = {
  quantity: 'Numeric',
  code: 'Enumeration',
  text: 'Enumeration',
  // A grouping has no value, and an advisory is worked out.
  grouping: null,
  rule: null,
};
const factRow = (id: string): FactCode => FACT_CODES[id.slice(0, id.indexOf('.')) as keyof typeof FACT_CODES];
const kindOf = ({ value }: FactCode): Kind | null => KINDS[value];

/** Named after what the unit is called here, or after a digest of what a device was charted as. */
function partsOf({ id, device }: Read, metric: string) {
  const [, ours] = /^Device\/collection-unit\.(.+)$/.exec(device.reference ?? '') ?? [];
  const key = ours ?? `${id.split('.')[1]}.${digestOf(device)}`;
  const part = (type: string, name: string) => ({ resourceType: type, id: `${name}.${key}` });
  const [virtual, channel] = [part('Device', 'virtual'), part('Device', 'channel')];
  const to = ({ resourceType, id: name }: typeof virtual) => ({ reference: `${resourceType}/${name}` });
  return {
    virtual: { ...virtual, ...profile('VmdDevice'), type: VIRTUAL, parent: device },
    channel: { ...channel, ...profile('ChannelDevice'), type: CHANNEL, parent: to(virtual) },
    metric: { ...part('DeviceMetric', metric), source: device, parent: to(channel) },
  };
}

const DIGITS = 16;
const digestOf = (device: object): string =>
  createHash('sha256').update(JSON.stringify(device)).digest('hex').slice(0, DIGITS);

// No code of ISO/IEEE 11073-10101 for these was seen, and the profile asks for a type, not for a code.
const VIRTUAL = { text: 'Chest drainage unit, virtual medical device' };
const CHANNEL = { text: 'Chest drainage unit, channel' };
const profile = (name: string) => ({ meta: { profile: [`${IG}/${name}`] } });

const SETTINGS = new Set<FactName>(['imposed-suction', 'ordered-suction']);

function metricOf(fact: FactName, kind: Kind, type: object): object {
  const { unit } = FACT_CODES[fact as keyof typeof FACT_CODES];
  const units = unit === 'mL' ? [{ system: UCUM, code: unit }, MILLILITRE] : [{ system: UCUM, code: unit }];
  return {
    ...profile(`${kind}DeviceMetric`),
    type,
    ...(unit === null ? {} : { unit: { coding: units, text: unit } }),
    category: SETTINGS.has(fact) ? 'setting' : 'measurement',
  };
}

function asResource(part: object, canonical: string): Resource<string> {
  const { resourceType, id, meta, ...rest } = part as Readonly<Record<string, unknown>>;
  const identifier = [{ system: `${canonical}/device`, value: id }];
  return resourceOf(JSON.stringify({ resourceType, id, meta, identifier, ...rest }));
}

/** Beside version and time, which stay where they are written. */
function inProfile(read: object, name: string): Resource<string> {
  const { meta } = read as { readonly meta: object };
  const written = { ...read, meta: { ...meta, ...profile(name).meta } };
  return resourceOf(writeExact(written as unknown as ExactValue));
}
