/** The one use case: entries in, receipts out, each durable with all that follows from it. */
import type { Sender } from '../audit/chain.ts';
import { writeBody } from '../audit/entry-text.ts';
import type { Subject } from '../domain/book.ts';
import type { DrainChange } from '../domain/changes.ts';
import type { Terminology } from '../domain/configuration.ts';
import { type Accepted, decide, enter } from '../domain/decide.ts';
import { patientKey } from '../domain/drain.ts';
import type { Identifier, Reference, Site } from '../domain/entry.ts';
import { isObserved } from '../domain/fact.ts';
import { parseInstant } from '../domain/instant.ts';
import type { Issued } from '../domain/issue.ts';
import type { Policy } from '../domain/policy.ts';
import { epochMs } from '../domain/units.ts';
import { createDeviceWriter, type WriteDevice } from '../fhir/device.ts';
import { createObservationWriter, type WriteObservation } from '../fhir/observation.ts';
import { createProvenanceWriter, type WriteProvenance } from '../fhir/provenance.ts';
import { referenceText } from '../fhir/reference.ts';
import {
  type AppendOutcome,
  type AppendRequest,
  type Decision,
  type DrainIssue,
  INTERIM,
  type Place,
  type Previewed,
  type Store,
  type Write,
} from '../store/port.ts';
import { type Incoming, notTaken } from './incoming.ts';
import { hashOf, nameOf } from './names.ts';
import { writeReceipt } from './receipt.ts';

export interface RecordSettings {
  readonly policy: Policy;
  /** Start of our canonical URLs. */
  readonly canonical: string;
  /** Name of this log. */
  readonly origin: string;
  readonly terminology: Terminology;
}

/** Records a unit: all of its entries or none. @param sentBy the client that sent it, if one did */
export type Record = (unit: readonly Incoming[], sentBy?: Sender) => Promise<readonly AppendOutcome[]>;

/** Says what recording an entry would be answered, and writes nothing. */
export type Preview = (incoming: Incoming) => Previewed;

export function createRecord(store: Store, settings: RecordSettings): Record {
  const tools = toolsOf(settings);
  return (unit, sentBy) => store.append(unit.map((incoming) => ({ ...requestOf(incoming, tools), sentBy })));
}

export function createPreview(store: Store, settings: RecordSettings): Preview {
  const tools = toolsOf(settings);
  return (incoming) => store.preview(requestOf(incoming, tools));
}

const toolsOf = ({ policy, canonical, origin, terminology }: RecordSettings): Tools => ({
  policy,
  writeObservation: createObservationWriter(canonical, terminology),
  writeDevice: createDeviceWriter(canonical),
  writeProvenance: createProvenanceWriter(canonical, origin),
});

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
    type: decided.interim ? INTERIM : body.kind,
    actor: body.author,
    effectiveAt: body.effective_at,
    supersedes: 'target' in body ? `${body.target.system}|${body.target.value}` : null,
    body: writeBody(body),
    receipt: writeReceipt(decided, place, policy.settings),
    issues: decided.interim
      ? []
      : decided.changes.map((change) => issueOf(ofPatient(change, subject), decided, place, tools)),
    relinked: relinked(subject, decided),
    linked: linked(subject, decided),
    enter: () => enter(subject, decided, policy),
  };
}

function relinked(subject: Subject, { entry, changes }: Accepted): Write['relinked'] {
  const before = subject.get(entry.drain);
  const after = patientKey(changes[0]?.view.patient);
  return before !== undefined && patientKey(before.view.patient) === after ? null : { patientKey: after };
}

function linked(subject: Subject, { entry, changes }: Accepted): Write['linked'] {
  const before = subject.get(entry.drain);
  const after = textOfPatient(changes[0]?.view.patient);
  return before !== undefined && textOfPatient(before.view.patient) === after ? null : { patient: after };
}

const textOfPatient = (patient: Reference | undefined): string | null =>
  patient === undefined ? null : referenceText(patient);

interface IssuedOf extends Pick<DrainChange, 'drain' | 'issued'> {
  readonly patient: Reference | undefined;
  readonly site: Site | null;
}

/**
 * Facts are of the drain's patient. Those of a drain that was taken from its patient are told once more to the record in
 * which they stand: they never were that patient's.
 */
function ofPatient({ drain, view: { patient, site }, issued }: DrainChange, subject: Subject): IssuedOf {
  const before = subject.get(drain)?.view;
  if (patient !== undefined || before?.patient === undefined) return { drain, patient, site, issued };
  const withdrawn = issued.map((each): Issued => ({ ...each, status: 'entered-in-error' }));
  return { drain, patient: before.patient, site: site ?? before.site, issued: withdrawn };
}

function issueOf(
  { drain, patient: whose, site, issued }: IssuedOf,
  { entry }: Accepted,
  place: Place,
  { writeObservation, writeDevice, writeProvenance }: Tools,
): DrainIssue {
  const patient = textOfPatient(whose);
  const context = { drain, patient, site, issuedAt: place.recordedAt };
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
