/** What of a delivery goes to its target, and in what words. */

import type { Identifier } from '../domain/vocabulary/entry.ts';
import type { FactName } from '../domain/vocabulary/fact.ts';
import { parseExactJson } from '../json/exact-json.ts';
import { writeExact } from '../json/exact-write.ts';
import type { Delivery, Taken } from '../store/delivery-port.ts';
import type { Store } from '../store/port.ts';
import { atPointOfCare } from './point-of-care.ts';
import type { Way } from './probe.ts';
import { isFact, isPart, queryFor, type Resource, resourceOf, textOf, type Written } from './resource.ts';
import type { Resolution, Target } from './target.ts';

export interface Chosen {
  readonly resources: readonly Resource[];
  /** What the target took last of these, as far as it matters. */
  readonly known: ReadonlyMap<string, Taken>;
  /** Names of what was accepted in an earlier attempt, and is not known to be there. */
  readonly awaited: readonly string[];
}

/** What a target gets, and in what form. */
export interface SendRules {
  readonly target: Target;
  readonly way: Way;
  /** Start of our canonical URLs. */
  readonly canonical: string;
}

function wantedOf(issued: readonly Written[], { target, way, canonical }: SendRules): readonly Resource[] {
  const wanted = issued.map(resourceOf).filter((each) => isWanted(each, target, way));
  return target.profile === 'pocd' ? atPointOfCare(wanted, canonical) : wanted;
}

/** What is to be sent; what the target took in this version or a later one is left out. */
export function chooseResources(store: Store, rules: SendRules, delivery: Delivery): Chosen {
  const { drain, redo } = delivery;
  const issued = redo === null ? delivery.issued : delivery.issued.map((each) => newest(store, drain, each));
  const wanted = withoutLoneProvenance(wantedOf(issued, rules));
  const known = takenBefore(store, delivery, wanted);
  const isDue = ({ name, version }: Resource): boolean => {
    const before = known.get(name);
    if (redo === 'replay' || before === undefined || before.version < version) return true;
    return redo === 'requeue' && before.acceptedMs !== null;
  };
  const awaited = wanted.filter((each) => !isDue(each) && isAwaited(each, known.get(each.name)));
  return { resources: wanted.filter(isDue), known, awaited: awaited.map(({ name }) => name) };
}

const isAwaited = ({ version }: Resource, taken: Taken | undefined): taken is Taken =>
  taken !== undefined && taken.acceptedMs !== null && taken.version === version;

/** What of a delivery the target accepted, last in this version, and is not known to hold. */
export function awaitedResources(
  store: Store,
  rules: SendRules,
  delivery: Delivery,
): readonly { readonly resource: Resource; readonly known: Taken }[] {
  const wanted = wantedOf(delivery.issued, rules);
  const known = takenBefore(store, delivery, wanted);
  return wanted.flatMap((resource) => {
    const taken = known.get(resource.name);
    return isAwaited(resource, taken) ? [{ resource, known: taken }] : [];
  });
}

/** Where a target is sent none of the facts, it needs no word of where they come from. */
function withoutLoneProvenance(resources: readonly Resource[]): readonly Resource[] {
  const hasFacts = resources.some(({ id }) => isFact(id));
  return hasFacts ? resources : resources.filter(({ type }) => type !== 'Provenance');
}

/** Of these. What is sent for the first time in its first version is not asked for. */
function takenBefore(store: Store, delivery: Delivery, wanted: readonly Resource[]): Chosen['known'] {
  const isFirst = delivery.attempts === 1 && !delivery.uncertain && delivery.redo === null;
  const asked = isFirst ? wanted.filter(({ version, id }) => version > 1 || isPart(id)) : wanted;
  return byName(
    store.taken(
      delivery.target,
      delivery.drain,
      asked.map(({ name }) => name),
    ),
  );
}

const byName = (taken: readonly Taken[]): Map<string, Taken> =>
  new Map(taken.map((each) => [each.resource, each]));

/** What the target took of that which these refer to, of whatever drain it is. */
export function takenReferences(
  store: Store,
  target: string,
  resources: readonly Resource[],
): ReadonlyMap<string, Taken> {
  const byDrain = new Map<string, Set<string>>();
  for (const name of resources.flatMap(({ references }) => references)) {
    const drain = name.split('.')[1] ?? '';
    byDrain.set(drain, (byDrain.get(drain) ?? new Set()).add(name));
  }
  return byName([...byDrain].flatMap(([drain, names]) => store.taken(target, drain, [...names])));
}

/** What is sent out of turn is sent as it stands now, so that nothing older overtakes it. */
const newest = (store: Store, drain: string, issued: Written): Written =>
  versionsOf(store, drain, resourceOf(issued)).at(-1) ?? issued;

/** As it was sent in an earlier version. */
export function versionOf(
  store: Store,
  rules: SendRules,
  drain: string,
  resource: Resource,
  version: number,
): Resource {
  const all = wantedOf(versionsOf(store, drain, resource), rules);
  return all.find((each) => each.name === resource.name && each.version === version) ?? resource;
}

/** All that were issued; none where it is not about this drain. */
function versionsOf(store: Store, drain: string, { type, id }: Resource): readonly string[] {
  const [name, ofDrain, anchor] = id.split('.');
  return ofDrain === drain ? store.versions(type, drain, `${name}.${anchor}`, id) : [];
}

/** R4 gives these no identifier, so that a create of theirs could not be told from another. */
const WITHOUT_IDENTIFIER = new Set(['Provenance']);

function isWanted({ type, id, hasSubject }: Resource, { facts }: Target, { mode, types }: Way): boolean {
  if (types !== null && !types.has(type)) return false;
  if (mode === 'create' && WITHOUT_IDENTIFIER.has(type)) return false;
  if (!isFact(id)) return true;
  // A drain without a patient concerns nobody's record yet.
  if (!hasSubject) return false;
  return facts === null || facts.has(factOf(id));
}

/** Whether it is no fact, or among those that a target is sent. */
export function isAmongFacts(name: string, { facts }: Target): boolean {
  const id = name.slice(name.indexOf('/') + 1);
  return facts === null || !isFact(id) || facts.has(factOf(id));
}

/** What is referred to goes first, so that a target that checks references finds it. */
export function inOrder(resources: readonly Resource[]): readonly Resource[] {
  const left = new Map(resources.map((each) => [each.name, each]));
  const ordered: Resource[] = [];
  const place = (resource: Resource): void => {
    if (!left.delete(resource.name)) return;
    for (const name of resource.references) {
      const other = left.get(name);
      if (other !== undefined) place(other);
    }
    ordered.push(resource);
  };
  for (const resource of resources) place(resource);
  return ordered;
}

/** Identifiers that must be looked up before a text can be sent. */
export interface Subjects {
  readonly patient: Identifier | null;
  readonly encounter: Identifier | null;
}

/** Texts that name their patient or encounter by identifier alone are the exception, so they alone are parsed. */
const BY_IDENTIFIER = /"(?:subject|encounter)":\{"identifier":/;
const ENCOUNTER = '"encounter":';

const NONE: Subjects = { patient: null, encounter: null };

interface Referring {
  readonly subject?: { readonly reference?: string; readonly identifier?: Identifier };
  readonly encounter?: { readonly reference?: string; readonly identifier?: Identifier };
}

export function subjectsIn(text: string, { patient, encounter }: Target): Subjects {
  if ((patient !== 'look-up' && encounter !== 'look-up') || !BY_IDENTIFIER.test(text)) return NONE;
  const read = JSON.parse(text) as Referring;
  const wanted = (how: Resolution | 'omit', to: Referring['subject']) =>
    how === 'look-up' && to?.reference === undefined ? (to?.identifier ?? null) : null;
  return { patient: wanted(patient, read.subject), encounter: wanted(encounter, read.encounter) };
}

/** @param found what the target calls the patient and the encounter, where they were looked up */
export function withSubjects(
  text: string,
  target: Target,
  found: { readonly patient: string | null; readonly encounter: string | null },
): string {
  if (target.patient === 'as-given' && target.encounter === 'as-given') return text;
  const omits = target.encounter === 'omit' && text.includes(ENCOUNTER);
  if (!omits && !BY_IDENTIFIER.test(text)) return text;
  const resource = parseExactJson(text) as Record<string, object>;
  const { subject, encounter } = resource as Referring;
  const patient = referenceFor('Patient', target.patient, subject, found.patient);
  if (patient !== null) resource.subject = patient;
  if (target.encounter === 'omit') delete resource.encounter;
  else {
    const visit = referenceFor('Encounter', target.encounter, encounter, found.encounter);
    if (visit !== null) resource.encounter = visit;
  }
  return writeExact(resource);
}

/** Beside the identifier, which stays; null where it is to be left as it is. */
function referenceFor(
  type: 'Patient' | 'Encounter',
  how: Resolution,
  to: Referring['subject'],
  found: string | null,
): object | null {
  if (to?.identifier === undefined || to.reference !== undefined || how === 'as-given') return null;
  if (how === 'look-up') return found === null ? null : { reference: found, identifier: to.identifier };
  return { reference: `${type}?${queryFor(to.identifier)}` };
}

/** Whether each resource goes in the words and with the patient that it was issued with. */
export const isSentAsIssued = ({ words, patient, encounter }: Target): boolean =>
  words.size === 0 && patient === 'as-given' && encounter === 'as-given';

interface Coded {
  category?: object;
  code?: { coding?: object };
}

/** In the words that a target is said to know a fact by; the text of the code stays. */
export function withWords(resource: Resource, { words }: Target): string {
  const { id } = resource;
  const text = textOf(resource.text);
  const said = words.size === 0 ? undefined : words.get(factOf(id));
  if (said === undefined) return text;
  const changed = parseExactJson(text) as Record<string, object> & Coded;
  if (said.categories !== undefined) changed.category = said.categories.map((each) => ({ coding: [each] }));
  if (said.codings !== undefined) changed.code = { coding: said.codings, ...codeTextOf(changed.code) };
  return writeExact(changed);
}

const codeTextOf = (code: object | undefined): object =>
  code !== undefined && 'text' in code ? { text: code.text } : {};

const factOf = (id: string): FactName => id.slice(0, id.indexOf('.')) as FactName;
