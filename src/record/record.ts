/** The one use case: entries in, receipts out, each durable with all that follows from it. */
import type { Sender } from '../audit/chain.ts';
import { writeBody } from '../audit/entry-text.ts';
import type { Subject } from '../domain/book/book.ts';
import { type Accepted, decide, enter } from '../domain/decide.ts';
import { chainAfter } from '../domain/fold/chains.ts';
import { patientKey } from '../domain/fold/drain.ts';
import { parseInstant } from '../domain/numbers/instant.ts';
import { epochMs } from '../domain/numbers/units.ts';
import type { Entry, EntryBody, Identifier } from '../domain/vocabulary/entry.ts';
import { identifierText } from '../domain/vocabulary/identifier-text.ts';
import { type DeviceLook, UNMATCHED } from '../store/device-port.ts';
import {
  type AppendOutcome,
  type AppendRequest,
  type Decision,
  INTERIM,
  type Place,
  type Previewed,
  type Store,
  type Write,
} from '../store/port.ts';
import { issueOf, type RecordSettings, type Tools, textOfPatient, toolsOf } from './drain-issue.ts';
import { erasedBefore, type Incoming, notTaken } from './incoming.ts';
import { hashOf, nameOf } from './names.ts';
import { writeReceipt, writeUnmatchedReceipt } from './receipt.ts';
import { reroutes } from './reroutes.ts';
import { destinationOf, devicesWritten, drainOfChain, notOfItsPatient, notRouted } from './routing.ts';

/** Records a unit: all of its entries or none. @param sentBy the client that sent it, if one did */
export type Record = (unit: readonly Incoming[], sentBy?: Sender) => Promise<readonly AppendOutcome[]>;

/** Says what recording an entry would be answered, and writes nothing. */
export type Preview = (incoming: Incoming) => Previewed;

export function createRecord(store: Store, settings: RecordSettings): Record {
  const tools = toolsOf(settings);
  return (unit, sentBy) => store.append(unit.map((incoming) => requestOf(incoming, tools, sentBy)));
}

export function createPreview(store: Store, settings: RecordSettings): Preview {
  const tools = toolsOf(settings);
  return (incoming) => store.preview(requestOf(incoming, tools));
}

/** The drain that a placement makes: named after the placement's own key. */
export const drainNameOf = (placement: Identifier): string => nameOf(placement);

/** An entry and its name, which is made of its identifier once. */
interface Named {
  readonly incoming: Incoming;
  readonly entryId: string;
}

function requestOf(incoming: Incoming, tools: Tools, sentBy?: Sender): AppendRequest {
  const { drain, body, request } = incoming;
  const named = { incoming, entryId: nameOf(body.identifier) };
  const links = body.kind === 'placed' || body.kind === 'drain-updated' ? body.patient : undefined;
  return {
    entryId: named.entryId,
    identifier: body.identifier,
    requestHash: hashOf(`${drain ?? ''}\n${request}`),
    isAnswer: (receipt) => incoming.unlessKnown?.includes(JSON.parse(receipt).kind) === true,
    drain: drain ?? ((devices, nowMs) => destinationOf(body, devices, epochMs(nowMs))),
    linksPatient: patientKey(links),
    sentBy,
    decide: (subject, place, devices) =>
      place.drain === null
        ? unmatched(place, named, devices, tools)
        : decision(subject, { ...place, drain: place.drain }, named, devices, tools),
  };
}

function decision(
  subject: Subject,
  place: Place & { readonly drain: string },
  named: Named,
  devices: DeviceLook,
  tools: Tools,
): Decision {
  const { policy } = tools;
  const { incoming, entryId } = named;
  const { body } = incoming;
  const refused =
    erasedBefore(entryId, body.identifier, devices, incoming.mayReach !== undefined) ??
    notTaken(subject, place, incoming, devices, policy.settings) ??
    notRouted(subject, place, incoming, devices);
  if (refused !== null) return { refused };
  const entry = entryOf(named, place.drain, place);
  const decided = decide(subject, entry, policy);
  if ('refused' in decided) return { refused: decided };
  return {
    type: decided.interim ? INTERIM : body.kind,
    actor: body.author,
    effectiveAt: body.effective_at,
    supersedes: supersededBy(body),
    body: writeBody(body),
    devices: decided.interim ? undefined : devicesWritten(decided.chain, place.drain),
    receipt: writeReceipt(decided, place, policy.settings),
    issues: decided.interim
      ? []
      : decided.changes.map((change) => issueOf(change, subject, entry, place, tools)),
    relinked: relinked(subject, decided),
    linked: linked(subject, decided),
    enter: () => enter(subject, decided, policy),
  };
}

/** What names a device that was on no drain: kept until an assignment covers it, or a correction moves it to one. */
function unmatched(place: Place, named: Named, devices: DeviceLook, tools: Tools): Decision {
  const { incoming, entryId } = named;
  const { body } = incoming;
  const refused =
    erasedBefore(entryId, body.identifier, devices, incoming.mayReach !== undefined) ??
    notTaken(new Map(), place, incoming, devices, tools.policy.settings);
  if (refused !== null) return { refused };
  const entry = entryOf(named, UNMATCHED, place);
  const before = 'target' in body ? devices.chain(nameOf(body.target)) : undefined;
  const chain = chainAfter(entry, () => before?.chain);
  if ('refused' in chain) return { refused: chain };
  const to = drainOfChain(chain, devices);
  const told = { pointer: '/replacement/effective_at', quotesNothing: incoming.quotesNothing };
  const ofAnother = to === null ? null : notOfItsPatient(chain, to, devices, told);
  if (ofAnother !== null) return { refused: ofAnother };
  const moved = { chain, members: [...(before?.members ?? []), body.identifier], from: null, to };
  return {
    type: body.kind,
    actor: body.author,
    effectiveAt: body.effective_at,
    supersedes: supersededBy(body),
    body: writeBody(body),
    receipt: writeUnmatchedReceipt(entry, to, place),
    issues: [],
    relinked: null,
    linked: null,
    devices: devicesWritten(chain, null),
    unmatched: to === null && !chain.void,
    follows: to === null ? [] : reroutes(body, [moved], tools),
    enter() {},
  };
}

const supersededBy = (body: EntryBody): string | null =>
  'target' in body ? identifierText(body.target) : null;

function entryOf({ incoming: { body }, entryId }: Named, drain: string, place: Place): Entry {
  const effective = parseInstant(body.effective_at);
  if (effective === undefined) throw new Error(`${body.effective_at} passed intake and is no instant`);
  const { seq, recordedMs } = place;
  return { id: entryId, drain, seq, effective, recorded_ms: epochMs(recordedMs), body };
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
