/** What entries issued, as one Bundle of PUTs under our ids: idempotent by HTTP, so that a resend changes nothing. */
import { z } from 'zod';
import type { Taken } from '../store/delivery-port.ts';
import { bytesOf } from './bytes.ts';
import { type Verdict, verdictOn } from './classify.ts';
import type { Connection } from './connection.ts';
import { readCurrent } from './look-up.ts';
import { parsed } from './outcome.ts';
import { textOf } from './resource.ts';
import { conflict, MOST_REREADS, type One, type Went } from './send-one.ts';

/** How each went, in their order; of a transaction that failed, all the same. */
export async function sendBundle(
  connection: Connection,
  type: 'batch' | 'transaction',
  ones: readonly One[],
  now: number,
): Promise<readonly Went[]> {
  if (ones.length === 0) return [];
  let sent = ones;
  for (let rereads = 0; ; rereads += 1) {
    const { verdict, wents } = await sendOnce(connection, type, sent, now);
    if (verdict.kind !== 'conflict') return wents;
    if (rereads === MOST_REREADS)
      return ones.map(() => ({
        verdict: { kind: 'conflict', outcome: conflict(verdict.outcome) },
        taken: null,
      }));
    const reread = await rereadAll(connection, ones);
    if ('kind' in reread) return ones.map(() => ({ verdict: reread, taken: null }));
    sent = reread;
  }
}

/** In one request: what was said of all of it, and how each went. */
export async function sendOnce(
  connection: Connection,
  type: 'batch' | 'transaction',
  ones: readonly One[],
  now: number,
): Promise<{ readonly verdict: Verdict; readonly wents: readonly Went[] }> {
  const { verdict, answer } = await connection.ask({
    method: 'POST',
    path: '',
    purpose: 'bundle',
    // What was sent need not come back (FHIR R4, http.html#ops).
    headers: { prefer: 'return=minimal' },
    body: bundleBytes(type, ones),
  });
  if (verdict.kind === 'taken') return { verdict, wents: answered(type, ones, answer?.body ?? '', now) };
  const isAccepted = verdict.kind === 'accepted';
  return { verdict, wents: ones.map((one) => ({ verdict, taken: isAccepted ? takenAs(one, null) : null })) };
}

/** With the version that each has now. */
async function rereadAll(connection: Connection, ones: readonly One[]): Promise<readonly One[] | Verdict> {
  const reread: One[] = [];
  for (const one of ones) {
    const current = await readCurrent(connection, one.resource.name);
    if ('verdict' in current) return current.verdict;
    const known = current.found === null ? undefined : takenAs(one, current.found.etag);
    reread.push({ ...one, known });
  }
  return reread;
}

/** In pieces, each short: put together to one text first, most of what it costs to send them would be moving it about. */
function* piecesOf(type: 'batch' | 'transaction', ones: readonly One[]): Generator<string> {
  let opening = `{"resourceType":"Bundle","type":"${type}","entry":[{"resource":`;
  for (const { resource, text, known } of ones) {
    const ifMatch = known?.etag == null ? '' : `,"ifMatch":${JSON.stringify(known.etag)}`;
    yield `${opening}${textOf(text)},"request":{"method":"PUT","url":"${resource.name}"${ifMatch}}}`;
    opening = ',{"resource":';
  }
  yield ']}';
}

export const bundleOf = (type: 'batch' | 'transaction', ones: readonly One[]): string =>
  [...piecesOf(type, ones)].join('');

const bundleBytes = (type: 'batch' | 'transaction', ones: readonly One[]): Buffer =>
  bytesOf(piecesOf(type, ones));

const response = z.object({
  response: z.object({
    status: z.string().regex(/^\d{3}\b/),
    etag: z.string().optional(),
    location: z.string().optional(),
    outcome: z.unknown().optional(),
  }),
});
const responses = z.object({ resourceType: z.literal('Bundle'), entry: z.array(response) });

function answered(type: string, ones: readonly One[], body: string, now: number): readonly Went[] {
  const read = responses.safeParse(parsed(body));
  if (read.success && read.data.entry.length === ones.length && isInOrder(ones, read.data.entry))
    return ones.map((one, i) => wentAs(one, read.data.entry[i]?.response, now));
  // A transaction is done as a whole or not at all, so its status says enough; of a batch it says nothing.
  if (type === 'transaction' && !read.success)
    return ones.map((one) => ({ verdict: { kind: 'taken' }, taken: takenAs(one, null) }));
  // It has ended, so that each may be put alone, which changes nothing where it is there.
  const verdict: Verdict = {
    kind: 'conflict',
    outcome: { why: `the ${type} was not answered with an entry for each of its own, in their order` },
  };
  return ones.map(() => ({ verdict, taken: null }));
}

/** Responses stand in the order of the requests (FHIR R4, http.html#transaction-response); where one names another, none counts. */
function isInOrder(ones: readonly One[], entries: readonly z.infer<typeof response>[]): boolean {
  const names = new Set(ones.map(({ resource }) => resource.name));
  return entries.every(({ response: { location } }, i) => {
    const [, name = ''] = LOCATION.exec(location ?? '') ?? [];
    return !names.has(name) || name === ones[i]?.resource.name;
  });
}

const LOCATION = /([A-Za-z]+\/[A-Za-z0-9\-.]+)(?:\/_history\/[^/]+)?\/?$/;

function wentAs(one: One, said: z.infer<typeof response>['response'] | undefined, now: number): Went {
  const status = Number(said?.status.slice(0, 3));
  const verdict = verdictOn({ status, body: said?.outcome ?? '', retryAfter: undefined }, 'update', now);
  const has = verdict.kind === 'taken' || verdict.kind === 'accepted';
  return { verdict, taken: has ? takenAs(one, said?.etag ?? null) : null };
}

function takenAs({ resource }: One, etag: string | null): Taken {
  return {
    resource: resource.name,
    version: resource.version,
    remote: resource.name,
    etag,
    acceptedMs: null,
  };
}
