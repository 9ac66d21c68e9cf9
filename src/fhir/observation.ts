/**
 * A fact as the exact text of a FHIR R4 Observation.
 *
 * The text is put together field by field, because a number must keep the digits it was charted with and because a
 * version is kept, hashed and served as the very text that was issued. What all Observations of a kind share is fixed,
 * the rest are holes (json/frame.ts).
 */
import type { Identifier, Reference, Site } from '../domain/entry.ts';
import type { Fact, FactName, FactRef, Flag } from '../domain/fact.ts';
import type { Issued } from '../domain/issue.ts';
import { FrameBuilder, type Framed } from '../json/frame.ts';
import { DATA_ABSENT_REASON, FACT_CODES, PRESENCE } from './codes.ts';
import { COMPONENT_CODES } from './component-codes.ts';
import { concept, createFixedTexts, type FixedTexts, localSystem, quantityEnd } from './fixed-parts.ts';

/** What all Observations of one drain share at one issue. */
export interface ObservationContext {
  readonly drain: string;
  /** JSON text of the reference to the patient; null while none is linked. */
  readonly patient: string | null;
  readonly site: Site | null;
  /** Time of the issue, RFC 3339 in UTC. */
  readonly issuedAt: string;
}

export type WriteObservation = (issued: Issued, context: ObservationContext) => Framed;

/** The logical id of a fact: the same for every version, in every ledger that holds the entry. */
export function observationId(drain: string, { name, anchor }: Pick<FactRef, 'name' | 'anchor'>): string {
  return `${name}.${drain}.${anchor}`;
}

/** @param canonical start of our canonical URLs, without a slash at the end */
export function createObservationWriter(canonical: string): WriteObservation {
  const fixed = createFixedTexts(canonical);
  const identifierStart = `"},"identifier":[{"system":"${canonical}/observation","value":"`;
  return ({ fact, version, status }, { drain, patient, site, issuedAt }) => {
    const parts = fixed.parts(site, fact.name);
    const id = observationId(drain, fact);
    const to = new FrameBuilder().fixed('{"resourceType":"Observation","id":"').hole(id);
    to.fixed('","meta":{"versionId":"').hole(String(version)).fixed('","lastUpdated":"').hole(issuedAt);
    to.fixed(identifierStart).hole(id);
    if (fact.identifier !== undefined) to.fixed('"},').hole(openText(fact.identifier));
    to.fixed(parts.statusToCode[status]);
    if (patient !== null) to.fixed(',"subject":').hole(patient);
    if (fact.encounter !== null) to.fixed(',"encounter":').hole(referenceText(fact.encounter));
    writeEffective(to, fact);
    to.fixed(',"issued":"').hole(issuedAt).fixed('"');
    if (fact.author !== null) to.fixed(',"performer":[').hole(referenceText(fact.author)).fixed(']');
    writeValue(to, fact, canonical);
    writeInterpretation(to, fact.flags, fixed);
    if (fact.note !== null) to.fixed(',"note":[{"text":').hole(JSON.stringify(fact.note)).fixed('}]');
    to.fixed(parts.bodySite);
    writeReferences(to, ',"hasMember":[', fact.members, drain);
    writeReferences(to, ',"derivedFrom":[', fact.derived_from, drain);
    writeComponents(to, fact, fixed);
    return to.fixed('}').built();
  };
}

/** The text of an identifier up to its last quote, where what is fixed goes on. */
const openText = ({ system, value }: Identifier): string => JSON.stringify({ system, value }).slice(0, -2);

/** By the object: one author stands in all facts of an entry, and is written once. */
const writtenReferences = new WeakMap<Reference, string>();

export function referenceText(to: Reference): string {
  const written =
    writtenReferences.get(to) ?? JSON.stringify({ reference: to.reference, identifier: to.identifier });
  writtenReferences.set(to, written);
  return written;
}

function writeReferences(to: FrameBuilder, opening: string, refs: readonly FactRef[], drain: string): void {
  if (refs.length === 0) return;
  to.fixed(opening);
  refs.forEach((ref, i) => {
    const id = observationId(ref.drain ?? drain, ref);
    to.fixed(i === 0 ? '{"reference":"Observation/' : ',{"reference":"Observation/')
      .hole(id)
      .fixed('"}');
  });
  to.fixed(']');
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

function writeValue(to: FrameBuilder, { name, value }: Fact, canonical: string): void {
  if ('quantity' in value) {
    const end = quantityEnd(FACT_CODES[name].unit ?? '1', value.at_least === true);
    to.fixed(',"valueQuantity":{"value":').hole(value.quantity).fixed(end);
  } else if ('code' in value)
    to.fixed(',"valueCodeableConcept":').hole(codedValue(name, value.code, canonical));
  else if ('rule' in value) to.fixed(',"valueCodeableConcept":').hole(ruleValue(value, canonical));
  else if ('text' in value) to.fixed(',"valueString":').hole(JSON.stringify(value.text));
  else if ('absent' in value) to.fixed(',"dataAbsentReason":').hole(absence(value.absent));
}

function codedValue(name: FactName, code: string, canonical: string): string {
  const local = { system: localSystem(canonical, 'value'), code: `${name}-${code}`, display: code };
  const presence = name === 'tidaling' ? PRESENCE[code] : undefined;
  return concept(presence === undefined ? [local] : [local, presence], code);
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
