/**
 * A fact as the exact text of a FHIR R4 Observation.
 *
 * The text is put together field by field, because a number must keep the digits it was charted with and because a
 * version is kept, hashed and served as the very text that was issued. What all Observations of a kind share is fixed,
 * the rest are holes (json/frame.ts).
 */

import type { IssueStatus } from '../domain/facts/issue.ts';
import type { Terminology } from '../domain/vocabulary/configuration.ts';
import type { Identifier, Site } from '../domain/vocabulary/entry.ts';
import type { Fact, FactRef, Flag, ObservedFact } from '../domain/vocabulary/fact.ts';
import { FrameBuilder, type Framed } from '../json/frame.ts';
import { FACT_CODES } from './codes.ts';
import { DATA_ABSENT_REASON } from './codings.ts';
import { COMPONENT_CODES } from './component-codes.ts';
import { concept, createFixedTexts, type FixedTexts, localSystem, quantityEnd } from './fixed-parts.ts';
import { type IssueContext, referenceText } from './reference.ts';

/** What all Observations of one drain share at one issue. */
export interface ObservationContext extends IssueContext {
  readonly site: Site | null;
}

export interface IssuedObservation {
  readonly fact: ObservedFact;
  readonly version: number;
  readonly status: IssueStatus;
}

export type WriteObservation = (issued: IssuedObservation, context: ObservationContext) => Framed;

/** @param canonical start of our canonical URLs, without a slash at the end */
export function createObservationWriter(canonical: string, terminology: Terminology): WriteObservation {
  const fixed = createFixedTexts(canonical, terminology);
  return ({ fact, version, status }, { drain, patient, site, issuedAt }) => {
    const parts = fixed.parts(site, fact.name);
    const to = new FrameBuilder().fixed(parts.start).hole(drain).fixed('.').hole(fact.anchor);
    to.fixed('","meta":{"versionId":"').hole(String(version)).fixed('","lastUpdated":"').hole(issuedAt);
    to.fixed(parts.identifier).hole(drain).fixed('.').hole(fact.anchor);
    if (fact.identifier !== undefined) to.fixed('"},').hole(openText(fact.identifier));
    to.fixed(parts.statusToCode[status]);
    if (patient !== null) to.fixed(',"subject":').hole(patient);
    if (fact.encounter !== null) to.fixed(',"encounter":').hole(referenceText(fact.encounter));
    writeEffective(to, fact);
    to.fixed(',"issued":"').hole(issuedAt).fixed('"');
    if (fact.author?.type === 'person')
      to.fixed(',"performer":[').hole(referenceText(fact.author)).fixed(']');
    writeValue(to, fact, canonical, fixed);
    writeInterpretation(to, fact.flags, fixed);
    if (fact.note !== null) to.fixed(',"note":[{"text":').hole(JSON.stringify(fact.note)).fixed('}]');
    to.fixed(parts.bodySite);
    writeDevice(to, fact, drain);
    writeReferences(to, ',"hasMember":[', fact.members, drain);
    writeReferences(to, ',"derivedFrom":[', fact.derived_from, drain);
    writeComponents(to, fact, fixed);
    return to.fixed('}').built();
  };
}

/** The text of an identifier up to its last quote, where what is fixed goes on. */
const openText = ({ system, value }: Identifier): string => JSON.stringify({ system, value }).slice(0, -2);

/** The device that charted it, as it was named; else the unit on which a person read it. */
function writeDevice(to: FrameBuilder, { author, read_off: unit }: Fact, drain: string): void {
  if (author?.type === 'device') to.fixed(',"device":').hole(referenceText(author));
  else if (unit !== undefined) {
    to.fixed(',"device":{"reference":"Device/collection-unit.').hole(unit.drain ?? drain);
    to.fixed('.').hole(unit.anchor).fixed('"}');
  }
}

/** Drain and entry are the same in most references of an Observation as in its own id: the same holes. */
function writeReferences(to: FrameBuilder, opening: string, refs: readonly FactRef[], drain: string): void {
  if (refs.length === 0) return;
  to.fixed(opening);
  refs.forEach((ref, i) => {
    to.fixed(i === 0 ? '{"reference":"Observation/' : '"},{"reference":"Observation/');
    to.fixed(ref.name)
      .fixed('.')
      .hole(ref.drain ?? drain)
      .fixed('.')
      .hole(ref.anchor);
  });
  to.fixed('"}]');
}

/** Instants passed intake's grammar, so they hold nothing that JSON would escape. */
function writeEffective(to: FrameBuilder, { effective }: Fact): void {
  if ('at' in effective) to.fixed(',"effectiveDateTime":"').hole(effective.at).fixed('"');
  else {
    to.fixed(',"effectivePeriod":{"start":"').hole(effective.from);
    if (effective.to !== undefined) to.fixed('","end":"').hole(effective.to);
    to.fixed('"}');
  }
}

function writeValue(
  to: FrameBuilder,
  { name, value }: ObservedFact,
  canonical: string,
  fixed: FixedTexts,
): void {
  if ('quantity' in value) {
    const end = quantityEnd(FACT_CODES[name].unit ?? '1', value.at_least === true);
    to.fixed(',"valueQuantity":{"value":').hole(value.quantity).fixed(end);
  } else if ('code' in value) to.fixed(',"valueCodeableConcept":').fixed(fixed.value(name, value.code));
  else if ('rule' in value) to.fixed(',"valueCodeableConcept":').hole(ruleValue(value, canonical));
  else if ('text' in value) to.fixed(',"valueString":').hole(JSON.stringify(value.text));
  else if ('absent' in value) to.fixed(',"dataAbsentReason":').hole(absence(value.absent));
}

function ruleValue(
  { rule, title }: { readonly rule: string; readonly title: string },
  canonical: string,
): string {
  return concept([{ system: localSystem(canonical, 'rule'), code: rule, display: title }], title);
}

function absence(why: string): string {
  return concept([{ system: DATA_ABSENT_REASON, code: 'unknown', display: 'Unknown' }], why);
}

function writeInterpretation(to: FrameBuilder, flags: readonly Flag[], fixed: FixedTexts): void {
  flags.forEach((flag, i) => {
    to.fixed(i === 0 ? ',"interpretation":[' : ',').fixed(fixed.flag(flag));
  });
  if (flags.length > 0) to.fixed(']');
}

function writeComponents(to: FrameBuilder, { components }: Fact, fixed: FixedTexts): void {
  if (components.length === 0) return;
  to.fixed(',"component":[');
  components.forEach(({ name, quantity, unit = COMPONENT_CODES[name].unit }, i) => {
    if (i > 0) to.fixed('},');
    to.fixed(fixed.componentStart(name)).hole(quantity).fixed(quantityEnd(unit, false));
  });
  to.fixed('}]');
}
