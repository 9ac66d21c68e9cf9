/** A Device or a DeviceUseStatement to what it says of a device, or to all that is wrong with it. */
import type { z } from 'zod';
import type { DeviceType, Placement } from '../../domain/devices/device.ts';
import type { Author, Identifier, Reference } from '../../domain/vocabulary/entry.ts';
import { REGISTERED_TYPES } from '../../fhir/device-codes.ts';
import { localSystem } from '../../fhir/fixed-parts.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { shown } from '../fault.ts';
import { faultsOf } from '../native/zod-faults.ts';
import { type RawDevice, type RawDeviceUse, rawDevice, rawDeviceUse } from './device-shape.ts';
import { plain } from './draft.ts';
import { type FhirFault, fhirFault, pathOf } from './fhir-fault.ts';
import type { Faulty } from './read-observation.ts';

export interface ReadDevice {
  readonly device: Identifier;
  readonly type: DeviceType;
  /** Null where it says nothing of that. */
  readonly status: 'active' | 'inactive' | 'entered-in-error' | null;
  readonly reason: string | null;
}

export function readDevice(sent: ExactValue, canonical: string): ReadDevice | Faulty {
  const shape = rawDevice.safeParse(sent);
  if (!shape.success) return misshapen(shape.error, sent, 'Device');
  const { identifier, status, statusReason } = shape.data;
  const type = typeOf(shape.data, canonical);
  if (typeof type === 'object') return { faults: [type] };
  return { device: first(identifier), type, status: status ?? null, reason: wordsIn(statusReason) };
}

function typeOf({ type }: RawDevice, canonical: string): DeviceType | FhirFault {
  const system = localSystem(canonical, 'unit');
  const known = Object.keys(REGISTERED_TYPES) as DeviceType[];
  const found = known.filter((code) =>
    type.coding.some((each) => each.system === system && each.code === code),
  );
  const [only, ...others] = found;
  if (only !== undefined && others.length === 0) return only;
  return {
    code: 'code-invalid',
    pointer: 'Device.type',
    value: shown(type.coding.map(({ code = '' }) => code).join(', ')),
    detail: only === undefined ? 'is no type that is registered here' : 'has several types',
    mend: `send one code of ${system}, beside any other: ${known.join(' or ')}`,
  };
}

export interface ReadDeviceUse {
  readonly identifier: Identifier;
  /** Of the device: what it is known by, or the id of its Device here. */
  readonly device: { readonly identifier: Identifier } | { readonly id: string };
  /** What its drain was placed under, or the id of the drain here. */
  readonly drain: Identifier;
  readonly patient: Reference;
  readonly period: Pick<Placement, 'from' | 'to'>;
  readonly isWithdrawn: boolean;
  /** Who says so; null: whoever sent it. */
  readonly author: Author | null;
  readonly reason: string | null;
  readonly note: string | null;
}

export function readDeviceUse(sent: ExactValue): ReadDeviceUse | Faulty {
  const shape = rawDeviceUse.safeParse(sent);
  if (!shape.success) return misshapen(shape.error, sent, 'DeviceUseStatement');
  const use = shape.data;
  const device = deviceOf(use);
  const faults = [device, statusFault(use), subjectFault(use)].filter(
    (each) => each !== null && 'pointer' in each,
  );
  if ('pointer' in device || faults.length > 0) return { faults: faults as FhirFault[] };
  const { start, end } = use.timingPeriod;
  const notes = use.note?.map(({ text }) => text).join('\n') ?? null;
  return {
    identifier: first(use.identifier),
    device,
    drain: first([use.derivedFrom[0].identifier]),
    patient: plain(use.subject),
    period: end === undefined ? { from: start } : { from: start, to: end },
    isWithdrawn: use.status === 'entered-in-error',
    author: use.source === undefined ? null : ({ type: 'person', ...plain(use.source) } as Author),
    reason: wordsIn(use.reasonCode),
    note: notes,
  };
}

/** The path of the element that a place of the native entry came from. */
export function useElement(pointer: string): string {
  const elements: readonly (readonly [string, string])[] = [
    ['/identifier', 'identifier[0]'],
    ['/author', 'source'],
    ['/from', 'timingPeriod.start'],
    ['/to', 'timingPeriod.end'],
    ['/replacement/from', 'timingPeriod.start'],
    ['/replacement/to', 'timingPeriod.end'],
    ['/drain', 'derivedFrom[0].identifier'],
    ['/replacement/drain', 'derivedFrom[0].identifier'],
    ['/device', 'device'],
    ['/subject', 'subject'],
    ['/reason', 'reasonCode'],
    ['/note', 'note'],
  ];
  const found = elements.find(([start]) => pointer === start || pointer.startsWith(`${start}/`));
  return found === undefined ? 'DeviceUseStatement' : `DeviceUseStatement.${found[1]}`;
}

function deviceOf({ device }: RawDeviceUse): ReadDeviceUse['device'] | FhirFault {
  if (device.identifier !== undefined) return { identifier: first([device.identifier]) };
  const [, id] = /(?:^|\/)Device\/([A-Za-z0-9.-]{1,64})$/.exec(device.reference ?? '') ?? [];
  if (id !== undefined) return { id };
  return {
    code: 'required',
    pointer: 'DeviceUseStatement.device',
    value: shown(device.reference),
    detail: 'names no device',
    mend: 'send the identifier that the device was registered under, or the reference of its Device here',
  };
}

function statusFault({ status, timingPeriod: { end } }: RawDeviceUse): FhirFault | null {
  if (status === 'entered-in-error' || (status === 'completed') === (end !== undefined)) return null;
  return {
    code: 'business-rule',
    pointer: 'DeviceUseStatement.status',
    value: status,
    detail: end === undefined ? 'has no timingPeriod.end' : 'has a timingPeriod.end',
    mend:
      end === undefined ? 'send the end, or status active' : 'leave the end out, or send status completed',
  };
}

function subjectFault({ subject: { reference } }: RawDeviceUse): FhirFault | null {
  if (reference === undefined || reference.startsWith('Patient/')) return null;
  return {
    code: 'value',
    pointer: 'DeviceUseStatement.subject.reference',
    value: shown(reference),
    detail: 'is no patient',
    mend: 'send Patient/id, or an identifier',
  };
}

function first([own]: readonly { readonly system: string; readonly value: string }[]): Identifier {
  if (own === undefined) throw new Error('the schema asks for one');
  return { system: own.system, value: own.value };
}

const wordsIn = (concepts: readonly { readonly text?: string | undefined }[] | undefined): string | null =>
  concepts?.flatMap(({ text }) => text ?? []).join('; ') || null;

function misshapen(error: z.ZodError, sent: ExactValue, root: string): Faulty {
  return {
    faults: faultsOf(error, sent).map((fault) => fhirFault(fault, pathOf(fault.pointer, root))),
  };
}
