/** Entries that take what a device charted from one drain to another, in the same write as what moved it. */
import { writeBody } from '../audit/entry-text.ts';
import type { MovableChain, Subject } from '../domain/book/book.ts';
import { enterRerouting, type Rerouting, reroute } from '../domain/devices/reroute.ts';
import type { Author, Identifier } from '../domain/vocabulary/entry.ts';
import type { Rerouted } from '../domain/vocabulary/rerouted.ts';
import type { AppendRequest, Decision, Place } from '../store/port.ts';
import { issueOf, type Tools } from './drain-issue.ts';
import { hashOf, nameOf } from './names.ts';

/** What moves it: an entry on the whereabouts of a device, or a correction of one that counted for no drain. */
export interface Mover {
  readonly kind: string;
  readonly identifier: Identifier;
  readonly author: Author;
  readonly effective_at: string;
  readonly reason?: string;
  readonly target?: Identifier;
}

export interface MovedChain extends MovableChain {
  readonly from: string | null;
  readonly to: string | null;
}

/** So many chains in one entry, so that what it issues can be delivered as one transaction. */
const MOST_AT_ONCE = 100;
const SYSTEM = 'urn:drainledger:rerouted';

/**
 * @param moved in order of time
 * @returns first all that leaves drains, the newest first, then all that enters, the oldest first: each then changes
 * only the end of a chart that has nothing newer
 */
export function reroutes(mover: Mover, moved: readonly MovedChain[], tools: Tools): readonly AppendRequest[] {
  const parts = [
    ...partsOf([...moved].reverse(), 'from').map(({ drain, chains }) => ({
      drain,
      left: chains,
      entered: NONE,
    })),
    ...partsOf(moved, 'to').map(({ drain, chains }) => ({ drain, left: NONE, entered: chains })),
  ];
  const cause = mover.kind === 'corrected' || mover.kind === 'entered-in-error' ? 'corrected' : 'amended';
  return parts.map((part, n) => requestOf(mover, n, { ...part, cause }, tools));
}

const NONE: readonly never[] = [];

function partsOf(moved: readonly MovedChain[], side: 'from' | 'to') {
  const drains = new Set(moved.flatMap((each) => each[side] ?? []));
  return [...drains].flatMap((drain) => {
    const chains = moved.filter((each) => each[side] === drain);
    const starts = Array.from(
      { length: Math.ceil(chains.length / MOST_AT_ONCE) },
      (_, n) => n * MOST_AT_ONCE,
    );
    return starts.map((at) => ({ drain, chains: chains.slice(at, at + MOST_AT_ONCE) }));
  });
}

function requestOf(mover: Mover, n: number, rerouting: Rerouting, tools: Tools): AppendRequest {
  const value = `${nameOf(mover.identifier)}.${rerouting.drain}.${n}`;
  const identifier = { system: SYSTEM, value };
  return {
    entryId: nameOf(identifier),
    identifier,
    requestHash: hashOf(value),
    isAnswer: () => false,
    drain: rerouting.drain,
    linksPatient: null,
    decide: (subject, place) => decision(subject, place, { mover, identifier, rerouting }, tools),
  };
}

interface Asked {
  readonly mover: Mover;
  readonly identifier: Identifier;
  readonly rerouting: Rerouting;
}

function decision(
  subject: Subject,
  place: Place,
  { mover, identifier, rerouting }: Asked,
  tools: Tools,
): Decision {
  const { drain, left, entered } = rerouting;
  const body = bodyOf(mover, identifier, rerouting);
  const changes = reroute(subject, rerouting, tools.policy);
  // The record is told of the entry that somebody made: this one only carries it to the drain.
  const entry = { id: nameOf(identifier), body: { ...mover, kind: body.kind } };
  const chains = [...left, ...entered].map(({ chain }) => chain.first.id);
  return {
    type: body.kind,
    actor: mover.author,
    effectiveAt: mover.effective_at,
    supersedes: null,
    body: writeBody(body),
    receipt: JSON.stringify({ drain, sequence: place.seq, kind: body.kind, identifier }),
    issues: changes.map((change) => issueOf(change, subject, entry, place, tools)),
    relinked: null,
    linked: null,
    devices: { rerouted: { chains, drain: entered.length === 0 ? null : drain } },
    enter: () => enterRerouting(subject, rerouting, changes, place.seq),
  };
}

function bodyOf(mover: Mover, identifier: Identifier, { left, entered }: Rerouting): Rerouted {
  const { author, effective_at, reason, identifier: because } = mover;
  const device = [...left, ...entered][0]?.chain.first.body.device;
  if (device === undefined || reason === undefined)
    throw new Error('what moves entries of a device names it, and gives a reason');
  const firsts = (chains: readonly MovableChain[]) => chains.map(({ chain }) => chain.first.body.identifier);
  const moved = { entered: firsts(entered), left: firsts(left) };
  return { kind: 'rerouted', identifier, author, effective_at, device, because, reason, ...moved };
}
