/**
 * A fact as the exact text of a FHIR R4 Observation.
 *
 * The text is put together field by field, because a number must keep the digits it was charted with and because a
 * version is kept, hashed and served as the very text that was issued.
 */
import type { Reference, Site } from '../domain/entry.ts';
import type { Fact, FactRef, FactValue, Flag } from '../domain/fact.ts';
import type { Issued } from '../domain/issue.ts';
import {
  COMPONENT_CODES,
  type Coding,
  DATA_ABSENT_REASON,
  DRAIN_OUTPUT,
  FACT_CODES,
  FLUID_BALANCE,
  OBSERVATION_CATEGORY,
  PRESENCE,
  SITE_CODES,
  UCUM,
  type Unit,
} from './codes.ts';

/** What all Observations of one drain share at one issue. */
export interface ObservationContext {
  readonly drain: string;
  readonly patient: Reference | undefined;
  readonly site: Site | null;
  /** Start of our canonical URLs, without a slash at the end. */
  readonly canonical: string;
  /** Time of the issue, RFC 3339 in UTC. */
  readonly issuedAt: string;
}

export interface IssuedObservation {
  readonly id: string;
  readonly version: number;
  readonly text: string;
}

/** The logical id of a fact: the same for every version, in every ledger that holds the entry. */
export function observationId(drain: string, { name, anchor }: Pick<FactRef, 'name' | 'anchor'>): string {
  return `${name}.${drain}.${anchor}`;
}

export function writeObservation(issued: Issued, context: ObservationContext): IssuedObservation {
  const { fact, version, status } = issued;
  const id = observationId(context.drain, fact);
  const fields = [
    '"resourceType":"Observation"',
    `"id":${quote(id)}`,
    `"meta":{"versionId":"${version}","lastUpdated":${quote(context.issuedAt)}}`,
    `"identifier":[{"system":${quote(`${context.canonical}/observation`)},"value":${quote(id)}}]`,
    `"status":"${status}"`,
    categoryField(fact),
    codeField(fact, context),
    ...referenceField('subject', context.patient),
    ...referenceField('encounter', fact.encounter ?? undefined),
    effectiveField(fact),
    `"issued":${quote(context.issuedAt)}`,
    ...performerField(fact),
    ...valueField(fact, context),
    ...interpretationField(fact.flags, context),
    ...(fact.note === null ? [] : [`"note":[{"text":${quote(fact.note)}}]`]),
    ...(context.site === null || fact.name === 'body-weight'
      ? []
      : [`"bodySite":${concept([SITE_CODES[context.site]])}`]),
    ...referencesField('hasMember', fact.members, context.drain),
    ...referencesField('derivedFrom', fact.derived_from, context.drain),
    ...componentField(fact, context),
  ];
  return { id, version, text: `{${fields.join(',')}}` };
}

const quote = (text: string): string => JSON.stringify(text);

function concept(codings: readonly Coding[], text?: string): string {
  return JSON.stringify(text === undefined ? { coding: codings } : { coding: codings, text });
}

function categoryField({ name }: Fact): string {
  const { category, fluid_volume } = FACT_CODES[name];
  const concepts = [
    concept([{ system: OBSERVATION_CATEGORY, code: category, display: CATEGORY_DISPLAY[category] }]),
  ];
  if (fluid_volume) concepts.push(concept([FLUID_BALANCE]));
  return `"category":[${concepts.join(',')}]`;
}

const CATEGORY_DISPLAY = { exam: 'Exam', therapy: 'Therapy', 'vital-signs': 'Vital Signs' } as const;

export const localSystem = (canonical: string, name: 'observation' | 'value' | 'flag'): string =>
  `${canonical}/CodeSystem/chest-drain-${name}`;

function codeField({ name }: Fact, { canonical, site }: ObservationContext): string {
  const { display, loinc, fluid_volume } = FACT_CODES[name];
  const standard = loinc?.(site) ?? null;
  const codings: Coding[] = [{ system: localSystem(canonical, 'observation'), code: name, display }];
  if (standard !== null) codings.unshift(standard);
  if (fluid_volume) codings.push(DRAIN_OUTPUT);
  return `"code":${concept(codings, display)}`;
}

function referenceField(name: string, to: Reference | undefined): string[] {
  return to === undefined ? [] : [`"${name}":${referenceText(to)}`];
}

function referenceText({ reference, identifier }: Reference): string {
  return JSON.stringify({ reference, identifier });
}

function referencesField(name: string, refs: readonly FactRef[], drain: string): string[] {
  if (refs.length === 0) return [];
  const texts = refs.map((ref) => `{"reference":"Observation/${observationId(ref.drain ?? drain, ref)}"}`);
  return [`"${name}":[${texts.join(',')}]`];
}

function effectiveField({ effective }: Fact): string {
  if ('at' in effective) return `"effectiveDateTime":${quote(effective.at)}`;
  return `"effectivePeriod":{"start":${quote(effective.from)},"end":${quote(effective.to)}}`;
}

function performerField({ author }: Fact): string[] {
  if (author === null) return [];
  return [`"performer":[${referenceText(author)}]`];
}

function valueField({ name, value }: Fact, context: ObservationContext): string[] {
  if ('quantity' in value) {
    const unit = FACT_CODES[name].unit ?? '1';
    return [`"valueQuantity":${quantity(value.quantity, unit, value.at_least === true)}`];
  }
  if ('code' in value) return [`"valueCodeableConcept":${codedValue(name, value.code, context)}`];
  if ('text' in value) return [`"valueString":${quote(value.text)}`];
  if ('absent' in value) return [`"dataAbsentReason":${absence(value)}`];
  return [];
}

function quantity(digits: string, unit: Unit, atLeast: boolean): string {
  const comparator = atLeast ? '"comparator":">=",' : '';
  return `{"value":${digits},${comparator}"unit":"${unit}","system":"${UCUM}","code":"${unit}"}`;
}

function codedValue(name: Fact['name'], code: string, { canonical }: ObservationContext): string {
  const local = { system: localSystem(canonical, 'value'), code: `${name}-${code}`, display: code };
  const presence = name === 'tidaling' ? PRESENCE[code] : undefined;
  return concept(presence === undefined ? [local] : [local, presence], code);
}

function absence({ absent }: Extract<FactValue, { absent: string }>): string {
  return concept([{ system: DATA_ABSENT_REASON, code: 'unknown', display: 'Unknown' }], absent);
}

function interpretationField(flags: readonly Flag[], { canonical }: ObservationContext): string[] {
  if (flags.length === 0) return [];
  const system = localSystem(canonical, 'flag');
  return [
    `"interpretation":[${flags.map((flag) => concept([{ system, code: flag, display: flag }])).join(',')}]`,
  ];
}

function componentField({ components }: Fact, { canonical }: ObservationContext): string[] {
  if (components.length === 0) return [];
  const system = localSystem(canonical, 'observation');
  const texts = components.map(({ name, quantity: digits }) => {
    const { display, unit } = COMPONENT_CODES[name];
    const code = concept([{ system, code: name, display }], display);
    return `{"code":${code},"valueQuantity":${quantity(digits, unit, false)}}`;
  });
  return [`"component":[${texts.join(',')}]`];
}
