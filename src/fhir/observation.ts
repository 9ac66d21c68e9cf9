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
import { FrameBuilder, type Framed } from '../json/frame.ts';
import { COMPONENT_CODES, DATA_ABSENT_REASON, FACT_CODES, PRESENCE } from './codes.ts';
import {
  componentStart,
  concept,
  fixedParts,
  localSystem,
  quantityEnd,
  referenceStart,
} from './fixed-parts.ts';

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
  const { canonical, site, issuedAt, drain } = context;
  const parts = fixedParts(canonical, site, fact.name);
  const to = new FrameBuilder();
  to.fixed(parts.opening).hole(drain).fixed('.').hole(fact.anchor);
  to.fixed('","meta":{"versionId":"').hole(String(version)).fixed('","lastUpdated":"').hole(issuedAt);
  to.fixed(parts.identifier).hole(drain).fixed('.').hole(fact.anchor).fixed(parts.statusToCode[status]);
  if (context.patient !== undefined) to.fixed(',"subject":').hole(referenceText(context.patient));
  if (fact.encounter !== null) to.fixed(',"encounter":').hole(referenceText(fact.encounter));
  writeEffective(to, fact);
  to.fixed(',"issued":"').hole(issuedAt).fixed('"');
  if (fact.author !== null) to.fixed(',"performer":[').hole(referenceText(fact.author)).fixed(']');
  writeValue(to, fact, canonical);
  writeInterpretation(to, fact.flags, canonical);
  if (fact.note !== null) to.fixed(',"note":[{"text":').hole(JSON.stringify(fact.note)).fixed('}]');
  to.fixed(parts.bodySite);
  writeReferences(to, ',"hasMember":[', fact.members, drain);
  writeReferences(to, ',"derivedFrom":[', fact.derived_from, drain);
  writeComponents(to, fact, canonical);
  return to.fixed('}').built();
}

function referenceText({ reference, identifier }: Reference): string {
  return JSON.stringify({ reference, identifier });
}

function writeReferences(to: FrameBuilder, opening: string, refs: readonly FactRef[], drain: string): void {
  if (refs.length === 0) return;
  to.fixed(opening);
  refs.forEach((ref, i) => {
    if (i > 0) to.fixed(',');
    to.fixed(referenceStart(ref.name))
      .hole(ref.drain ?? drain)
      .fixed('.')
      .hole(ref.anchor)
      .fixed('"}');
  });
  to.fixed(']');
}

/** Instants passed intake's grammar, so they hold nothing that JSON would escape. */
function writeEffective(to: FrameBuilder, { effective }: Fact): void {
  if ('at' in effective) to.fixed(',"effectiveDateTime":"').hole(effective.at).fixed('"');
  else
    to.fixed(',"effectivePeriod":{"start":"')
      .hole(effective.from)
      .fixed('","end":"')
      .hole(effective.to)
      .fixed('"}');
}

function writeValue(to: FrameBuilder, { name, value }: Fact, canonical: string): void {
  if ('quantity' in value) {
    const end = quantityEnd(FACT_CODES[name].unit ?? '1', value.at_least === true);
    to.fixed(',"valueQuantity":{"value":').hole(value.quantity).fixed(end);
  } else if ('code' in value)
    to.fixed(',"valueCodeableConcept":').hole(codedValue(name, value.code, canonical));
  else if ('text' in value) to.fixed(',"valueString":').hole(JSON.stringify(value.text));
  else if ('absent' in value) to.fixed(',"dataAbsentReason":').hole(absence(value.absent));
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
  to.fixed(',"component":[');
  components.forEach(({ name, quantity }, i) => {
    if (i > 0) to.fixed(',');
    to.fixed(componentStart(canonical, name))
      .hole(quantity)
      .fixed(quantityEnd(COMPONENT_CODES[name].unit, false))
      .fixed('}');
  });
  to.fixed(']');
}
