/** One resource to a target, whatever stands there already: created once, changed only from the version that is known. */
import type { Identifier } from '../domain/vocabulary/entry.ts';
import type { Outcome, Taken } from '../store/delivery-port.ts';
import type { Held, Verdict } from './classify.ts';
import type { Connection } from './connection.ts';
import { etagOf, findOurs, isOf, readCurrent, remoteIn } from './look-up.ts';
import type { Way } from './probe.ts';
import { queryFor, type Resource, type Written, withRemoteId } from './resource.ts';
import { isSame } from './same.ts';

export interface One<Text extends Written = Written> {
  readonly resource: Resource;
  /** Its text as this target gets it, but for the id. */
  readonly text: Text;
  readonly known: Taken | undefined;
  /** It may be there already, or come yet. */
  readonly uncertain: boolean;
}

/** One that goes alone, and may have to be found at the target first. */
export interface Findable extends One<string> {
  /** Null where it has none to be found by. */
  readonly identifier: Identifier | null;
  /** Somebody ordered it, so that what is gone there is made anew. */
  readonly isOrdered: boolean;
}

/** How it went; `taken` where the target has it now. */
export interface Went {
  readonly verdict: Verdict | Held;
  readonly taken: Taken | null;
}

export const MOST_REREADS = 3;

export async function sendOne(connection: Connection, way: Way, one: Findable): Promise<Went> {
  if (way.mode !== 'create')
    return update(connection, one, one.known?.remote ?? one.resource.name, one.known?.etag ?? null);
  if (one.known?.remote != null) return change(connection, one, one.known.remote, one.known.etag);
  // At most one create of an identifier may be under way: what may be there already is looked for first.
  const isNew =
    !one.uncertain && one.known === undefined && one.resource.version === 1 && way.conditionalCreate;
  return isNew ? create(connection, one) : findOrCreate(connection, one);
}

async function findOrCreate(connection: Connection, one: Findable): Promise<Went> {
  const found = await find(connection, one);
  if (found !== null) return found;
  if (one.known === undefined) return create(connection, one);
  const why = 'the target took an earlier version, did not say where it stands, and does not show it';
  return { verdict: { kind: 'held', outcome: { why } }, taken: null };
}

/** Brings what is found there by its identifier up to date; null where there is none. */
async function find(connection: Connection, one: Findable): Promise<Went | null> {
  const { resource, identifier } = one;
  const { type, name } = resource;
  if (identifier === null)
    return ended({ kind: 'refused', outcome: { why: `${name} has no identifier to find it by` } });
  const search = await findOurs(connection, type, identifier);
  if ('verdict' in search) return ended(search.verdict);
  const [remote, ...others] = search.found;
  if (remote === undefined) return null;
  if (others.length > 0) {
    const why = `multiple-matches: the target has ${search.found.length} of ${name}; keep one there, then requeue`;
    return ended({ kind: 'multiple-matches', outcome: { why } });
  }
  return settleOn(connection, one, remote);
}

/** What stands there is either this version already, or is made it. */
async function settleOn(connection: Connection, one: Findable, remote: string): Promise<Went> {
  const current = await readCurrent(connection, remote);
  if ('verdict' in current) return ended(current.verdict);
  if (current.found === null)
    return ended({ kind: 'gone', outcome: { why: `${remote} was found and cannot be read` } });
  if (isSame(one.text, current.found.text)) return took(one, remote, current.found.etag);
  return update(connection, one, remote, current.found.etag);
}

async function create(connection: Connection, one: Findable): Promise<Went> {
  const { resource, text, identifier } = one;
  if (identifier === null) {
    const why = `${resource.name} has no identifier, so that it cannot be created once only`;
    return ended({ kind: 'refused', outcome: { why } });
  }
  const { verdict, answer } = await connection.ask({
    method: 'POST',
    path: resource.type,
    purpose: 'create',
    headers: { 'if-none-exist': queryFor(identifier) },
    body: withRemoteId({ ...resource, text }, null),
  });
  if (verdict.kind === 'duplicate')
    return (await find(connection, one)) ?? ended({ ...verdict, kind: 'refused' });
  if (verdict.kind === 'accepted') return { verdict, taken: takenAs(one, null, null) };
  if (verdict.kind !== 'taken' || answer === null) return ended(verdict);
  const remote = remoteIn(resource.type, answer);
  // 201 made it. After 200 what stands there may be older than what was sent.
  if (answer.status === 200 && remote !== null) return settleOn(connection, one, remote);
  return took(one, remote, etagOf(answer));
}

/**
 * Under an id of the target's choice. A target that was set back to an older copy gives the same id to something else, which
 * must not be written over: what stands there is looked at first, where anybody may.
 */
async function change(
  connection: Connection,
  one: Findable,
  remote: string,
  etag: string | null,
): Promise<Went> {
  if (remote === one.resource.name) return update(connection, one, remote, etag);
  const current = await readCurrent(connection, remote);
  if ('verdict' in current)
    return MAY_NOT_LOOK.has(current.verdict.kind)
      ? update(connection, one, remote, etag)
      : ended(current.verdict);
  const { found } = current;
  if (found === null || !isOf(one.identifier, found.text))
    return replaced(connection, one, remote, { kind: 'gone', outcome: { why: `${remote} is not there` } });
  // Sent before, and its answer lost. What is ordered is written again all the same.
  if (!one.isOrdered && isSame(one.text, found.text)) return took(one, remote, found.etag);
  return update(connection, one, remote, found.etag ?? etag);
}

const MAY_NOT_LOOK = new Set<Verdict['kind']>(['forbidden', 'refused']);

async function update(
  connection: Connection,
  one: Findable,
  remote: string,
  etag: string | null,
): Promise<Went> {
  let ifMatch = etag;
  for (let rereads = 0; ; rereads += 1) {
    const { verdict, answer } = await put(connection, one, remote, ifMatch);
    if (verdict.kind === 'taken') return took(one, remote, answer === null ? null : etagOf(answer));
    if (verdict.kind === 'accepted') return { verdict, taken: takenAs(one, remote, null) };
    if (verdict.kind === 'gone')
      return replaced(connection, one, remote, { kind: 'gone', outcome: verdict.outcome });
    if (verdict.kind === 'duplicate') return alreadyThere(connection, one, verdict);
    if (verdict.kind !== 'conflict') return ended(verdict);
    if (rereads === MOST_REREADS) return ended({ kind: 'conflict', outcome: conflict(verdict.outcome) });
    const current = await readCurrent(connection, remote);
    if ('verdict' in current) return ended(current.verdict);
    // Sent before, and its answer lost: the version moved because we moved it.
    if (current.found !== null && isSame(one.text, current.found.text))
      return took(one, remote, current.found.etag);
    ifMatch = current.found?.etag ?? null;
  }
}

export const conflict = (last: Outcome): Outcome => ({
  ...last,
  why: `still in conflict after it was read again ${MOST_REREADS} times: ${last.why}`,
});

/** What was to be changed is not there any more: it may stand there under another id. */
async function replaced(connection: Connection, one: Findable, remote: string, gone: Gone): Promise<Went> {
  const { identifier, resource } = one;
  const search = identifier === null ? { found: [] } : await findOurs(connection, resource.type, identifier);
  if ('verdict' in search) return ended(search.verdict);
  const [other, ...more] = search.found;
  if (other === undefined && one.isOrdered) return madeAnew(connection, one, remote);
  if (other === undefined || other === remote || more.length > 0) return ended(withMend(gone));
  return settleOn(connection, one, other);
}

async function madeAnew(connection: Connection, one: Findable, remote: string): Promise<Went> {
  if (remote !== one.resource.name) return create(connection, one);
  const { verdict, answer } = await put(connection, one, remote, null);
  if (verdict.kind === 'accepted') return { verdict, taken: takenAs(one, remote, null) };
  return verdict.kind === 'taken' ? took(one, remote, answer && etagOf(answer)) : ended(verdict);
}

interface Gone {
  readonly kind: 'gone';
  readonly outcome: Outcome;
}

const withMend = ({ kind, outcome }: Gone): Gone => ({
  kind,
  outcome: {
    ...outcome,
    why: `${outcome.why}: what it was sent before is gone there; requeue makes it anew`,
  },
});

/** It says that it has this: believed where what it has says the same. Nothing is written, which it would refuse again. */
async function alreadyThere(connection: Connection, one: Findable, duplicate: Verdict): Promise<Went> {
  if (one.identifier === null) return ended(duplicate);
  const search = await findOurs(connection, one.resource.type, one.identifier);
  if ('verdict' in search) return ended(search.verdict);
  for (const remote of search.found) {
    const current = await readCurrent(connection, remote);
    if ('verdict' in current) return ended(current.verdict);
    if (isSame(one.text, current.found?.text ?? '')) return took(one, remote, current.found?.etag ?? null);
  }
  return ended(duplicate);
}

function put(
  connection: Connection,
  { resource, text }: One<string>,
  remote: string,
  ifMatch: string | null,
) {
  const isOurs = remote === resource.name;
  const id = remote.slice(remote.indexOf('/') + 1);
  return connection.ask({
    method: 'PUT',
    path: remote,
    purpose: 'update',
    headers: ifMatch === null ? {} : { 'if-match': ifMatch },
    body: isOurs ? text : withRemoteId({ ...resource, text }, id),
  });
}

const ended = (verdict: Verdict): Went => ({ verdict, taken: null });
const took = (one: One, remote: string | null, etag: string | null): Went => ({
  verdict: { kind: 'taken' },
  taken: takenAs(one, remote, etag),
});

function takenAs({ resource }: One, remote: string | null, etag: string | null): Taken {
  return { resource: resource.name, version: resource.version, remote, etag, acceptedMs: null };
}
