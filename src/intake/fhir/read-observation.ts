/** An Observation of what was read at the bedside to the entry that it says, or to all that is wrong with it. */

import type { z } from 'zod';
import type { EntryBody, Identifier, Reference, Site } from '../../domain/vocabulary/entry.ts';
import type { FactName } from '../../domain/vocabulary/fact.ts';
import { SITE_CODES } from '../../fhir/codings.ts';
import { GROUPING } from '../../fhir/raw-codes.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { writeExact } from '../../json/exact-write.ts';
import { shown } from '../fault.ts';
import { type Profiles, readEntry } from '../native/read-entry.ts';
import { faultsOf } from '../native/zod-faults.ts';
import { type Charted, type ChartedPart, draftOf, plain, ROOT } from './draft.ts';
import { type FhirFault, fhirFault, pathOf } from './fhir-fault.ts';
import { chartedValue, type Named, namedBy } from './parts.ts';
import { type Part, type RawObservation, rawObservation, replacingObservation } from './shape.ts';

export interface ReadObservation {
  readonly body: EntryBody;
  /** Whom and what place the sender means; the drain must be theirs. */
  readonly claims: { readonly patient: Reference; readonly site: Site | null };
  /** The fact as which it is issued. */
  readonly issued: FactName;
  /** Said to be wrong altogether. */
  readonly isWithdrawn: boolean;
}

export interface FhirReadSettings {
  readonly canonical: string;
  readonly profiles: Profiles;
}

export type Faulty = { readonly faults: readonly FhirFault[] };

/** A new one, with the drain as its sender knows it: by the identifier of its placement, or by ours; null where it names its device alone. */
export function readObservation(
  sent: ExactValue,
  settings: FhirReadSettings,
): (ReadObservation & { readonly drain: Identifier | null }) | Faulty {
  const shape = rawObservation.safeParse(sent);
  if (!shape.success) return misshapen(shape.error, sent);
  const { identifier, focus, status } = shape.data;
  if (status === 'entered-in-error') return { faults: [WITHDRAWN] };
  const [{ system, value } = { system: '', value: '' }] = identifier;
  if (focus === undefined && shape.data.device?.identifier === undefined)
    return { faults: [namesNothing(shape.data)] };
  const key = { system, value };
  if (focus === undefined) return readOfDevice(shape.data, key, sent, settings);
  const read = readCharted(shape.data, key, sent, settings);
  if ('faults' in read) return read;
  const [{ identifier: drain }] = focus;
  return { ...read, drain: { system: drain.system, value: drain.value } };
}

/** Kept with whom it is said to be of: the device may be found to have been on a drain only later. */
function readOfDevice(
  observation: RawObservation,
  key: Identifier,
  sent: ExactValue,
  settings: FhirReadSettings,
): (ReadObservation & { readonly drain: null }) | Faulty {
  const read = readCharted(observation, key, sent, settings, observation.device?.identifier);
  if ('faults' in read) return read;
  const { body, claims } = read;
  if (body.received === undefined) throw new Error('what came as an Observation is kept as one');
  const received = { ...body.received, patient: claims.patient };
  return { ...read, drain: null, body: { ...body, received } };
}

function namesNothing({ device }: RawObservation): FhirFault {
  const mend =
    'name the drain by the identifier that it was placed under, or leave focus out and name a registered device in device.identifier';
  return device === undefined
    ? { code: 'required', pointer: `${ROOT}.focus`, value: undefined, detail: 'is missing', mend }
    : {
        code: 'required',
        pointer: `${ROOT}.device.identifier`,
        value: undefined,
        detail: 'is missing',
        mend,
      };
}

/** One to stand in the place of another. @param key of the entry that says so */
export function readReplacement(
  sent: ExactValue,
  key: Identifier,
  settings: FhirReadSettings,
): ReadObservation | Faulty {
  const shape = replacingObservation.safeParse(sent);
  return shape.success ? readCharted(shape.data, key, sent, settings) : misshapen(shape.error, sent);
}

const WITHDRAWN: FhirFault = {
  code: 'business-rule',
  pointer: `${ROOT}.status`,
  value: 'entered-in-error',
  detail: 'says that it never was true',
  mend: 'update what was recorded, or send nothing',
};

const OF_THE_DRAIN: FhirFault = {
  code: 'required',
  pointer: `${ROOT}.focus`,
  value: undefined,
  detail: 'is missing',
  mend: "a body weight is the patient's, wherever a device is: name the drain, by the identifier that it was placed under",
};

function misshapen(error: z.ZodError, sent: ExactValue): Faulty {
  const faults = faultsOf(error, sent);
  return { faults: faults.map((fault) => fhirFault(fault, pathOf(fault.pointer, ROOT))) };
}

function readCharted(
  observation: RawObservation,
  key: Identifier,
  sent: ExactValue,
  settings: FhirReadSettings,
  readOn?: Identifier,
): ReadObservation | Faulty {
  const charted = chartedIn(observation, settings.canonical);
  if ('faults' in charted) return charted;
  if (readOn !== undefined && charted.kind === 'weighed') return { faults: [OF_THE_DRAIN] };
  const subject = subjectOf(observation);
  if ('faults' in subject) return subject;
  const place = siteOf(observation);
  if ('faults' in place) return place;
  const { effectiveDateTime, effectiveInstant } = observation;
  if (effectiveDateTime !== undefined && effectiveInstant !== undefined)
    return { faults: [secondTime(effectiveInstant)] };
  const draft = draftOf(observation, key, charted, readOn);
  const read = readEntry(draft.native, settings.profiles);
  if ('faults' in read)
    return { faults: read.faults.map((fault) => fhirFault(fault, draft.pathTo(fault.pointer))) };
  return {
    body: { ...read.body, received: { as: charted.issued, resource: writeExact(sent) } },
    claims: { patient: subject.patient, site: place.site },
    issued: charted.issued,
    isWithdrawn: observation.status === 'entered-in-error',
  };
}

function chartedIn(observation: RawObservation, canonical: string): Charted | Faulty {
  const faults: FhirFault[] = [];
  const parts: ChartedPart[] = [];
  const named: (Named & { readonly path: string })[] = [];
  const take = (part: Part, path: string): void => {
    const found = namedBy(part.code, `${path}.code`, canonical);
    if ('fault' in found) faults.push(found.fault);
    else {
      named.push({ ...found, path });
      const read = chartedValue(part, found, path, canonical);
      if ('fault' in read) faults.push(read.fault);
      else if (found.row !== null && read.value !== null)
        parts.push({ field: found.row.field, value: read.value, path: read.path });
    }
  };
  take(observation, ROOT);
  observation.component?.forEach((part, n) => {
    take(part, `${ROOT}.component[${n}]`);
  });
  if (faults.length > 0) return { faults };
  return together(named, parts);
}

/** What one Observation says must be one entry, and must be issued as something. */
function together(
  named: readonly (Named & { readonly path: string })[],
  parts: readonly ChartedPart[],
): Charted | Faulty {
  const [own, ...components] = named;
  const kind = named.find(({ row }) => row !== null)?.row?.entry;
  const faults: FhirFault[] = [];
  const refuse = (path: string, name: string, detail: string, mend: string): void => {
    faults.push({ code: 'business-rule', pointer: `${path}.code`, value: name, detail, mend });
  };
  for (const { name, row, path } of components) {
    if (row === null) refuse(path, name, 'groups others', 'send it as the code of the Observation');
    else if (row.entry !== kind) refuse(path, name, 'is charted by itself', 'send an Observation of its own');
  }
  for (const [n, { field, path }] of parts.entries()) {
    if (parts.findIndex((each) => each.field.join() === field.join()) < n)
      refuse(path, field.join('.'), 'stands twice', 'send it once');
  }
  const issued = own === undefined ? null : own.row === null ? GROUPING : own.row.issued;
  if (own !== undefined && (issued === null || !named.some(({ row }) => (row?.issued ?? null) !== null)))
    refuse(own.path, own.name, 'is charted only beside others', 'send it as a component of what was read');
  if (faults.length > 0 || kind === undefined || issued === null) return { faults };
  return { kind, issued, parts };
}

function subjectOf({ subject }: RawObservation): { readonly patient: Reference } | Faulty {
  const { reference } = subject;
  if (reference === undefined || reference.startsWith('Patient/')) return { patient: plain(subject) };
  const fault = {
    value: shown(reference),
    detail: 'is no patient',
    mend: 'send Patient/id, or an identifier',
  };
  return { faults: [{ ...fault, code: 'value', pointer: `${ROOT}.subject.reference` }] };
}

/** What is not understood could be the other side. */
function siteOf({ bodySite }: RawObservation): { readonly site: Site | null } | Faulty {
  if (bodySite === undefined) return { site: null };
  const sites = Object.entries(SITE_CODES) as [Site, (typeof SITE_CODES)[Site]][];
  const found = sites.filter(([, { system, code }]) =>
    bodySite.coding.some((each) => each.system === system && each.code === code),
  );
  const [[site] = [], ...others] = found;
  if (site !== undefined && others.length === 0) return { site };
  const known = sites.map(([name, { code }]) => `${code} (${name})`).join(', ');
  const fault: FhirFault = {
    code: 'code-invalid',
    pointer: `${ROOT}.bodySite`,
    value: shown(bodySite.coding.map(({ system = '', code = '' }) => `${system}|${code}`).join(', ')),
    detail: site === undefined ? 'is no site that is known here' : 'is several sites',
    mend: `send one of SNOMED CT ${known}, beside any other, or leave it out`,
  };
  return { faults: [fault] };
}

const secondTime = (value: string): FhirFault => ({
  code: 'value',
  pointer: `${ROOT}.effectiveInstant`,
  value: shown(value),
  detail: 'stands beside effectiveDateTime',
  mend: 'send one of them',
});
