/**
 * A fact as the exact text of a FHIR R4 Observation.
 *
 * The text is put together field by field, because a number must keep the digits it was charted with and because a
 * version is kept, hashed and served as the very text that was issued. What all Observations of a kind share is fixed,
 * the rest are holes (json/frame.ts).
 */
import type { Reference, Site } from '../domain/entry.ts';
import type { Fact, FactName, FactRef, Flag } from '../domain/fact.ts';
import type { Issued } from '../domain/issue.ts';
import { COMPONENT_CODES, DATA_ABSENT_REASON, FACT_CODES, PRESENCE, UCUM, type Unit } from './codes.ts';
import { type Framed, FrameBuilder } from '../json/frame.ts';
import { concept, fixedParts, localSystem } from './fixed-parts.ts';

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

/** The logical id of a fact: the same for every version, in every ledger that holds the entry. */
export function observationId(drain: string, { name, anchor }: Pick<FactRef, 'name' | 'anchor'>): string {
  return `${name}.${drain}.${anchor}`;
}

export function writeObservation({ fact, version, status }: Issued, context: ObservationContext): Framed {
  const { canonical, site, issuedAt } = context;
  const { categoryAndCode, bodySite } = fixedParts(canonical, site, fact.name);
  const to = new FrameBuilder().fixed('{"resourceType":"Observation","id":"');
  writeId(to, fact, context.drain);
  to.fixed('","meta":{"versionId":"').hole(String(version)).fixed('","lastUpdated":"').hole(issuedAt);
  to.fixed(`"},"identifier":[{"system":"${canonical}/observation","value":"`);
  writeId(to, fact, context.drain);
  to.fixed(`"}],"status":"${status}"${categoryAndCode}`);
  writeReference(to, 'subject', context.patient);
  writeReference(to, 'encounter', fact.encounter);
  writeEffective(to, fact);
  to.fixed(',"issued":"').hole(issuedAt).fixed('"');
  if (fact.author !== null) to.fixed(',"performer":[').hole(referenceText(fact.author)).fixed(']');
  writeValue(to, fact, canonical);
  writeInterpretation(to, fact.flags, canonical);
  if (fact.note !== null) to.fixed(',"note":[{"text":').hole(JSON.stringify(fact.note)).fixed('}]');
  to.fixed(bodySite);
  writeReferences(to, 'hasMember', fact.members, context.drain);
  writeReferences(to, 'derivedFrom', fact.derived_from, context.drain);
  writeComponents(to, fact, canonical);
  return to.fixed('}').built();
}

/** As {@link observationId}, in the pieces that repeat. */
function writeId(to: FrameBuilder, { name, anchor }: FactRef, drain: string): void {
  to.fixed(`${name}.`).hole(drain).fixed('.').hole(anchor);
}

function writeReference(to: FrameBuilder, name: string, reference: Reference | null | undefined): void {
  if (reference === undefined || reference === null) return;
  to.fixed(`,"${name}":`).hole(referenceText(reference));
}

function referenceText({ reference, identifier }: Reference): string {
  return JSON.stringify({ reference, identifier });
}

function writeReferences(to: FrameBuilder, name: string, refs: readonly FactRef[], drain: string): void {
  if (refs.length === 0) return;
  to.fixed(`,"${name}":[`);
  refs.forEach((ref, i) => {
    to.fixed(`${i === 0 ? '' : ','}{"reference":"Observation/`);
    writeId(to, ref, ref.drain ?? drain);
    to.fixed('"}');
  });
  to.fixed(']');
}

/** Instants passed intake's grammar, so they hold nothing that JSON would escape. */
function writeEffective(to: FrameBuilder, { effective }: Fact): void {
  if ('at' in effective) to.fixed(',"effectiveDateTime":"').hole(effective.at).fixed('"');
  else to.fixed(',"effectivePeriod":{"start":"').hole(effective.from).fixed('","end":"').hole(effective.to).fixed('"}');
}

function writeValue(to: FrameBuilder, { name, value }: Fact, canonical: string): void {
  if ('quantity' in value) {
    to.fixed(',"valueQuantity":');
    writeQuantity(to, value.quantity, FACT_CODES[name].unit ?? '1', value.at_least === true);
  } else if ('code' in value) to.fixed(',"valueCodeableConcept":').hole(codedValue(name, value.code, canonical));
  else if ('text' in value) to.fixed(',"valueString":').hole(JSON.stringify(value.text));
  else if ('absent' in value) to.fixed(',"dataAbsentReason":').hole(absence(value.absent));
}

function writeQuantity(to: FrameBuilder, digits: string, unit: Unit, atLeast: boolean): void {
  const comparator = atLeast ? ',"comparator":">="' : '';
  to.fixed('{"value":').hole(digits).fixed(`${comparator},"unit":"${unit}","system":"${UCUM}","code":"${unit}"}`);
}

function codedValue(name: FactName, code: string, canonical: string): string {
  const local = { system: localSystem(canonical, 'value'), code: `${name}-${code}`, display: code };
  const presence = name === 'tidaling' ? PRESENCE[code] : undefined;
  return concept(presence === undefined ? [local] : [local, presence], code);
}

function absence(why: string): string {
  return concept([{ system: DATA_ABSENT_REASON, code: 'unknown', display: 'Unknown' }], why);
}

function writeInterpretation(to: FrameBuilder, flags: readonly Flag[], canonical: string): void {
  if (flags.length === 0) return;
  const system = localSystem(canonical, 'flag');
  const concepts = flags.map((flag) => concept([{ system, code: flag, display: flag }]));
  to.fixed(`,"interpretation":[${concepts.join(',')}]`);
}

function writeComponents(to: FrameBuilder, { components }: Fact, canonical: string): void {
  if (components.length === 0) return;
  const system = localSystem(canonical, 'observation');
  to.fixed(',"component":[');
  components.forEach(({ name, quantity }, i) => {
    const { display, unit } = COMPONENT_CODES[name];
    const coding = `{"system":"${system}","code":"${name}","display":"${display}"}`;
    to.fixed(`${i === 0 ? '' : ','}{"code":{"coding":[${coding}]},"valueQuantity":`);
    writeQuantity(to, quantity, unit, false);
    to.fixed('}');
  });
  to.fixed(']');
}
