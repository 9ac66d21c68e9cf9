/** Recomputes a log from its stored rows alone, in the order of the log, and says what is wrong first. */
import { entryHash, genesis, issuedCommitment, payloadCommitment } from './chain.ts';
import { type ErasedEntry, type Erasures, NONE_ERASED } from './erasure.ts';

export interface Finding {
  readonly kind: 'tampered' | 'incomplete' | 'unknown-key' | 'unreadable';
  /** In words, such as 'entry 5 (stream x, 3)'. */
  readonly where: string;
  readonly what: string;
}

/** An entry as it is stored. */
export interface LogRow {
  readonly log_index: number;
  readonly stream: string;
  readonly seq: number;
  readonly envelope: string;
  readonly hash: string;
  /** With the body, null where the payload's row is gone: erased, or missing. */
  readonly salt: Buffer | null;
  readonly body: string | null;
  /** In the order in which they were issued. */
  readonly issued: readonly string[];
}

/** What an envelope says, as far as it is checked. */
export interface Said {
  readonly origin: string;
  readonly stream: string;
  readonly seq: number;
  readonly prev: string;
  readonly entry: string;
  readonly recorded_at: string;
  readonly payload: string;
  readonly issued: string;
}

export interface LogCheck {
  /** Takes the next row. Gives what its envelope says, or what is wrong with it. */
  take(row: LogRow): Said | Finding;
  /** Name of the log, from its first entry on. */
  name(): string | null;
}

interface StreamEnd {
  readonly seq: number;
  readonly hash: string;
}

/** Where a walk begins that leaves out what is older. */
export interface Beginning {
  readonly index: number;
  /** Hash of an entry before it; undefined where there is none there. */
  hashAt(stream: string, seq: number): string | undefined;
}

const FIRST: Beginning = { index: 0, hashAt: () => undefined };

/** @param erasures of the whole log: tombstones stand after what they name, and are entries that are checked like any other */
export function createLogCheck(
  erasures: Erasures = NONE_ERASED,
  { index, hashAt }: Beginning = FIRST,
): LogCheck {
  const ends = new Map<string, StreamEnd>();
  let name: string | null = null;
  let count = index;
  let recordedAt = '';

  function fault(row: LogRow, said: Said, erased: ErasedEntry | undefined): string | null {
    const { stream, seq } = row;
    const before = ends.get(stream) ?? beginningOf(row, name ?? said.origin);
    if (entryHash(row.envelope) !== row.hash) return 'its hash is not that of its envelope';
    if (said.stream !== stream || said.seq !== seq)
      return `it stands as ${stream}, ${seq}, and its envelope says ${said.stream}, ${said.seq}`;
    if (name !== null && said.origin !== name)
      return `it is of the log ${said.origin}, and the first one of ${name}`;
    if (seq !== before.seq + 1) return `it follows number ${before.seq} of its stream`;
    if (said.prev !== before.hash)
      return 'the hash of the entry before it in its stream is not the one it names';
    if (said.recorded_at < recordedAt)
      return `it was recorded at ${said.recorded_at}, before the entry before it, at ${recordedAt}`;
    return contentFault(row, said, erased);
  }

  function beginningOf({ stream, seq }: LogRow, log: string): StreamEnd {
    const hash = hashAt(stream, seq - 1);
    return hash === undefined ? { seq: 0, hash: genesis(log, stream) } : { seq: seq - 1, hash };
  }

  return {
    take(row) {
      if (row.log_index !== count) return missing(count, row);
      const said = readEnvelope(row.envelope);
      const erased = erasures.entry(row.log_index);
      const what = said === null ? 'its envelope cannot be read' : fault(row, said, erased);
      if (said === null || what !== null) return { kind: 'tampered', where: placeOf(row), what: what ?? '' };
      if (erased?.payload !== true && (row.salt === null || row.body === null))
        return { kind: 'incomplete', where: placeOf(row), what: 'its payload is missing' };
      name ??= said.origin;
      count += 1;
      recordedAt = said.recorded_at;
      ends.set(row.stream, { seq: row.seq, hash: row.hash });
      return said;
    },
    name: () => name,
  };
}

/** A missing payload is told apart from a wrong one, and checked after. */
function contentFault(
  { salt, body, issued }: LogRow,
  said: Said,
  erased: ErasedEntry | undefined,
): string | null {
  if (erased !== undefined && !erased.areLeft(issued))
    return `the texts issued with it are not those that entry ${erased.by} left`;
  if (salt === null || body === null) return null;
  if (erased?.payload === true) return `its payload is here, and entry ${erased.by} says that it was erased`;
  if (payloadCommitment(salt, body) !== said.payload) return 'its payload is not the one it commits to';
  if (erased === undefined && issuedCommitment(salt, issued) !== said.issued)
    return 'the texts issued with it are not those it commits to';
  return null;
}

function missing(count: number, { log_index, stream, seq }: LogRow): Finding {
  const what = `it is missing: after ${count - 1} comes ${log_index} (stream ${stream}, ${seq})`;
  return { kind: 'incomplete', where: `entry ${count}`, what };
}

function readEnvelope(text: string): Said | null {
  try {
    return JSON.parse(text) as Said;
  } catch {
    return null;
  }
}

export const placeOf = ({ log_index, stream, seq }: Pick<LogRow, 'log_index' | 'stream' | 'seq'>): string =>
  `entry ${log_index} (stream ${stream}, ${seq})`;
