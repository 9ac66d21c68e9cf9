import { appendFileSync, readFileSync, truncateSync } from 'node:fs';
import { factsOf, type ResourceFacts } from './resource-text.ts';

/** One version of one resource, as it was sent. */
export interface Version {
  readonly type: string;
  readonly id: string;
  /** The server's own count for this resource, from 1. */
  readonly version: number;
  readonly method: 'POST' | 'PUT';
  /** When the server took it, as an ISO 8601 instant. */
  readonly at: string;
  /** The exact text that was sent. */
  readonly text: string;
  readonly facts: ResourceFacts;
}

/** Everything the stand-in holds: by resource type, by id, every version from the first on. */
export interface Store {
  readonly logFile: string | undefined;
  readonly types: Map<string, Map<string, Version[]>>;
}

type LoggedVersion = Omit<Version, 'facts'>;

/** Every version of one resource, the first one first; empty when there is none. */
export function historyOf(store: Store, type: string, id: string): readonly Version[] {
  return store.types.get(type)?.get(id) ?? [];
}

/** The current version of every resource of a type, in the order in which they first arrived. */
export function resourcesOf(store: Store, type: string): Version[] {
  return [...(store.types.get(type)?.values() ?? [])].flatMap((history) => history.slice(-1));
}

/** The current versions that carry an identifier, given as `system|value`. */
export function matchesOf(store: Store, type: string, identifier: string): Version[] {
  return resourcesOf(store, type).filter(({ facts }) => facts.identifiers.includes(identifier));
}

function remember(store: Store, version: Version): void {
  const ids = store.types.get(version.type) ?? new Map<string, Version[]>();
  store.types.set(version.type, ids);
  ids.set(version.id, [...(ids.get(version.id) ?? []), version]);
}

function forget(store: Store, { type, id }: Version): void {
  const earlier = historyOf(store, type, id).slice(0, -1);
  if (earlier.length > 0) store.types.get(type)?.set(id, earlier);
  else store.types.get(type)?.delete(id);
}

function appendToLog(logFile: string, versions: readonly Version[]): void {
  // The facts are read from the text again at load, so the log has only one truth to keep.
  const logged = versions.map(({ facts: _facts, ...version }): LoggedVersion => version);
  appendFileSync(logFile, `${JSON.stringify(logged)}\n`);
}

function loadLog(store: Store, logFile: string): void {
  // Opening for append makes a missing file and finds out now, not at the first write, that it cannot be.
  appendFileSync(logFile, '');
  const content = readFileSync(logFile, 'utf8');
  const whole = content.slice(0, content.lastIndexOf('\n') + 1);
  // A last line without its end was never answered; left there, it would spoil the next line.
  if (whole.length < content.length) truncateSync(logFile, Buffer.byteLength(whole));
  for (const line of whole.split('\n').slice(0, -1)) {
    const logged: LoggedVersion[] = JSON.parse(line);
    for (const version of logged) remember(store, { ...version, facts: factsOf(version.text) });
  }
}

/**
 * Opens a store: empty, or with everything that its log file holds.
 *
 * @param logFile where accepted writes are kept; `undefined` keeps them in memory only
 */
export function openStore(logFile: string | undefined): Store {
  const store: Store = { logFile, types: new Map() };
  if (logFile !== undefined) loadLog(store, logFile);
  return store;
}

/**
 * Does some writes together: all of them are kept and logged as one line, or, if anything throws, none.
 *
 * @param work does the writes through the `add` it is handed and may read its own writes back
 * @returns what `work` returns, after the log has been written
 */
export function keepTogether<T>(store: Store, work: (add: (version: Version) => void) => T): T {
  const added: Version[] = [];
  try {
    const result = work((version) => {
      remember(store, version);
      added.push(version);
    });
    if (store.logFile !== undefined && added.length > 0) appendToLog(store.logFile, added);
    return result;
  } catch (error) {
    for (const version of added.toReversed()) forget(store, version);
    throw error;
  }
}
