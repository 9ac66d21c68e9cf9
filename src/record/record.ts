/** The one use case: entries in, receipts out, each durable with all that follows from it. */
import { writeBody } from '../audit/entry-text.ts';
import type { Subject } from '../domain/book.ts';
import type { Refusal } from '../domain/chains.ts';
import type { DrainChange } from '../domain/changes.ts';
import type { Terminology } from '../domain/configuration.ts';
import { type Accepted, decide, enter } from '../domain/decide.ts';
import { type DrainView, patientKey } from '../domain/drain.ts';
import type { EntryBody, Identifier, Kind, Reference, Site } from '../domain/entry.ts';
import { isObserved } from '../domain/fact.ts';
import { parseInstant } from '../domain/instant.ts';
import type { Policy } from '../domain/policy.ts';
import type { Settings } from '../domain/settings.ts';
import { epochMs } from '../domain/units.ts';
import { createDeviceWriter, type WriteDevice } from '../fhir/device.ts';
import { createObservationWriter, type WriteObservation } from '../fhir/observation.ts';
import { createProvenanceWriter, type WriteProvenance } from '../fhir/provenance.ts';
import { referenceText } from '../fhir/reference.ts';
import type {
  AppendOutcome,
  AppendRequest,
  Decision,
  DrainIssue,
  Place,
  Store,
  Write,
} from '../store/port.ts';
import { hashOf, nameOf } from './names.ts';
import { writeReceipt } from './receipt.ts';

/** An entry as it comes from any door, checked by itself but not yet against the ledger. */
export interface Incoming {
  readonly drain: string;
  readonly body: EntryBody;
  /** Canonical text of what was sent: the same key must always come with the same. */
  readonly request: string;
  /** Whom and what place the sender names beside the drain; they must be the drain's. */
  readonly claims?: { readonly patient: Reference; readonly site: Site | null };
  /** An entry of these kinds that already stands under the identifier will do, whatever it says. */
  readonly unlessKnown?: readonly Kind[];
}

/** Why the ledger does not take an entry. */
export type NotTaken =
  | Refusal
  | {
      readonly refused: 'no-such-drain' | 'in-the-future' | 'patient-unknown' | 'site-differs';
      readonly pointer: string;
      readonly value: string;
      readonly mend: string;
    };

export interface RecordSettings {
  readonly policy: Policy;
  /** Start of our canonical URLs. */
  readonly canonical: string;
  /** Name of this log. */
  readonly origin: string;
  readonly terminology: Terminology;
}

/** Records a unit: all of its entries or none. */
export type Record = (unit: readonly Incoming[]) => Promise<readonly AppendOutcome[]>;

export function createRecord(store: Store, settings: RecordSettings): Record {
  const { policy, canonical, origin, terminology } = settings;
  const tools = {
    policy,
    writeObservation: createObservationWriter(canonical, terminology),
    writeDevice: createDeviceWriter(canonical),
    writeProvenance: createProvenanceWriter(canonical, origin),
  };
  return (unit) => store.append(unit.map((incoming) => requestOf(incoming, tools)));
}

/** The drain that a placement makes: named after the placement's own key. */
export const drainNameOf = (placement: Identifier): string => nameOf(placement);

interface Tools {
  readonly policy: Policy;
  readonly writeObservation: WriteObservation;
  readonly writeDevice: WriteDevice;
  readonly writeProvenance: WriteProvenance;
}

function requestOf(incoming: Incoming, tools: Tools): AppendRequest {
  const { drain, body, request } = incoming;
  const entryId = nameOf(body.identifier);
  const links = body.kind === 'placed' || body.kind === 'drain-updated' ? body.patient : undefined;
  return {
    entryId,
    identifier: body.identifier,
    requestHash: hashOf(`${drain}\n${request}`),
    isAnswer: (receipt) => incoming.unlessKnown?.includes(JSON.parse(receipt).kind) === true,
    drain,
    linksPatient: patientKey(links),
    decide: (subject, place) => decision(subject, place, incoming, entryId, tools),
  };
}

function decision(
  subject: Subject,
  place: Place,
  incoming: Incoming,
  entryId: string,
  tools: Tools,
): Decision {
  const { policy } = tools;
  const { drain, body } = incoming;
  const refused = notTaken(subject, place, incoming, policy.settings);
  if (refused !== null) return { refused };
  const effective = parseInstant(body.effective_at);
  if (effective === undefined) throw new Error(`${body.effective_at} passed intake and is no instant`);
  const entry = {
    id: entryId,
    drain,
    seq: place.seq,
    effective,
    recorded_ms: epochMs(place.recordedMs),
    body,
  };
  const decided = decide(subject, entry, policy);
  if ('refused' in decided) return { refused: decided };
  return {
    type: body.kind,
    actor: body.author,
    effectiveAt: body.effective_at,
    supersedes: 'target' in body ? `${body.target.system}|${body.target.value}` : null,
    body: writeBody(body),
    receipt: writeReceipt(decided, place, policy.settings),
    issues: decided.changes.map((change) => issueOf(change, decided, place, tools)),
    relinked: relinked(subject, decided),
    enter: () => enter(subject, decided, policy),
  };
}

function relinked(subject: Subject, { entry, changes }: Accepted): Write['relinked'] {
  const before = subject.get(entry.drain);
  const after = patientKey(changes[0]?.view.patient);
  return before !== undefined && patientKey(before.view.patient) === after ? null : { patientKey: after };
}

function notTaken(
  subject: Subject,
  place: Place,
  { drain, body, claims }: Incoming,
  settings: Settings,
): NotTaken | null {
  if (body.kind !== 'placed' && !subject.has(drain)) {
    return {
      refused: 'no-such-drain',
      pointer: '/drain',
      value: drain,
      mend: 'place the drain first: POST /v1/drains',
    };
  }
  const view = subject.get(drain)?.view;
  return (
    otherPatient(view, body) ??
    (view === undefined ? null : falseClaim(view, claims)) ??
    inTheFuture(place, body, settings)
  );
}

/** A sender that means another patient or side has the wrong drain: nothing of it may be charted. */
function falseClaim({ patient, site }: DrainView, claims: Incoming['claims']): NotTaken | null {
  if (claims === undefined) return null;
  const value = patientKey(claims.patient) ?? 'nobody';
  if (patient === undefined) {
    const mend = 'link the drain to its patient first: POST a drain-updated entry';
    return { refused: 'patient-unknown', pointer: '/subject', value, mend };
  }
  if (!isSamePatient(patient, claims.patient)) {
    const mend = `the drain is linked to ${patientKey(patient)}: name that patient so, or send another drain`;
    return { refused: 'patient-differs', pointer: '/subject', value, mend };
  }
  if (claims.site === null || claims.site === site) return null;
  const mend = `the drain is placed ${site}: leave the site out, or send another drain`;
  return { refused: 'site-differs', pointer: '/bodySite', value: claims.site, mend };
}

/** By what both name them by. */
function isSamePatient(a: Reference, b: Reference): boolean {
  if (a.reference !== undefined && b.reference !== undefined) return a.reference === b.reference;
  const [ours, theirs] = [a.identifier, b.identifier];
  return ours !== undefined && ours.system === theirs?.system && ours.value === theirs.value;
}

/** A drain stays with its patient: relabelling a history would put one patient's readings into another's record. */
function otherPatient(view: DrainView | undefined, body: EntryBody): NotTaken | null {
  const linked = patientKey(view?.patient);
  const named = body.kind === 'drain-updated' ? patientKey(body.patient) : null;
  if (linked === null || named === null || named === linked) return null;
  const mend = `the drain is linked to ${linked}: mark that link entered-in-error first, or place the drain anew`;
  return { refused: 'patient-differs', pointer: '/patient', value: named, mend };
}

/** A person's clock can be looked at and mended; a device's is marked instead (domain/step.ts). */
function inTheFuture(place: Place, body: EntryBody, settings: Settings): NotTaken | null {
  if (body.author.type === 'device') return null;
  const charted: readonly (readonly [string, string])[] =
    body.kind === 'corrected'
      ? [
          ['/effective_at', body.effective_at],
          ['/replacement/effective_at', body.replacement.effective_at],
        ]
      : [['/effective_at', body.effective_at]];
  for (const [pointer, text] of charted) {
    if ((parseInstant(text)?.ms ?? 0) - place.recordedMs <= settings.max_future_ms) continue;
    const mend = `send a time no later than 5 minutes after now, ${place.recordedAt}`;
    return { refused: 'in-the-future', pointer, value: text, mend };
  }
  return null;
}

function issueOf(
  { drain, view, issued }: DrainChange,
  { entry }: Accepted,
  place: Place,
  { writeObservation, writeDevice, writeProvenance }: Tools,
): DrainIssue {
  const patient = view.patient === undefined ? null : referenceText(view.patient);
  const context = { drain, patient, site: view.site, issuedAt: place.recordedAt };
  return {
    drain,
    // After what it is about, so that whoever takes them in order holds that already.
    resources:
      issued.length === 0
        ? []
        : [
            ...issued.map(({ fact, version, status }) =>
              isObserved(fact)
                ? writeObservation({ fact, version, status }, context)
                : writeDevice({ fact, version, status }, context),
            ),
            writeProvenance(issued, { entry, ...context }),
          ],
    reissued: issued
      .filter(({ version, fact }) => version > 1 || fact.anchor !== entry.id)
      .map(({ key, version, status }) => ({ factKey: key, version, status })),
    deliverable: patient !== null,
  };
}
