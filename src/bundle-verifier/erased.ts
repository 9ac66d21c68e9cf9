/**
 * What was lawfully erased of a log, and what must be left of it: another part of the verifier of audit bundles that goes
 * before the rest in the one file of a bundle.
 */
import { hex, must } from './note.ts';

/** First and last of numbers that follow without a gap. */
type Run = readonly [first: number, last: number];
interface Committed {
  /** Hex. */
  readonly salt: string;
  readonly issued: string;
}

/** An entry that says what was erased of entries before it, and commits anew to the texts that it left with them. */
export interface Tombstone {
  readonly at: number;
  readonly entries: readonly Run[];
  readonly steps: readonly Run[];
  readonly texts: ReadonlyMap<number, Committed>;
}

export function readTombstone({
  log_index: at,
  body,
}: {
  log_index: number;
  body: string | null;
}): Tombstone {
  const { entries, steps, texts } = JSON.parse(body ?? 'null') as Pick<Tombstone, 'entries' | 'steps'> & {
    readonly texts: readonly (Committed & { readonly entry: number })[];
  };
  return { at, entries, steps, texts: new Map(texts.map((left) => [left.entry, left])) };
}

/** @param runs rising */
function isIn(runs: readonly Run[], number: number): boolean {
  let [low, high] = [0, runs.length];
  while (low < high) {
    const middle = Math.floor((low + high) / 2);
    if ((runs[middle]?.[1] ?? 0) < number) low = middle + 1;
    else high = middle;
  }
  return (runs[low]?.[0] ?? Number.POSITIVE_INFINITY) <= number;
}

export interface Content {
  readonly log_index: number;
  readonly stream: string;
  /** Hex, and null with the body where the payload was erased. */
  readonly salt: string | null;
  readonly body: string | null;
  readonly issued: readonly string[];
  /** Place of the newest tombstone that names it. */
  readonly erased?: number;
  readonly steps?: readonly { readonly event: number; readonly salt: string; readonly text: string }[];
}

export type Say = (name: string, text: string) => void;

/**
 * Commitments: 0x02 payload, 0x04 issued texts. Where a tombstone names the entry, its commitment to the texts that it left
 * stands for that of the envelope.
 * @param said the envelope @param tombstones newest first
 */
export function checkContent(
  { log_index: at, salt, body, issued, erased }: Content,
  place: string,
  said: Readonly<Record<string, unknown>>,
  tombstones: readonly Tombstone[],
): void {
  const isHere = erased === undefined || tombstones.some((each) => each.at === erased);
  must(isHere, `${place}: entry ${erased}, which says what was erased of it, is not here`, 2);
  const by = tombstones.find((each) => each.at > at && (isIn(each.entries, at) || each.texts.has(at)));
  const last =
    by === undefined
      ? `entry ${erased} erased nothing of it`
      : `it does not name entry ${by.at}, which erased of it last`;
  must(by?.at === erased, `${place}: ${last}`);
  const isGone = by !== undefined && isIn(by.entries, at);
  if (isGone) {
    const isNone = salt === null && body === null;
    must(isNone, `${place}: its payload is here, and entry ${by.at} says that it was erased`);
  } else {
    must(salt !== null && body !== null, `${place}: its payload is missing`, 2);
    const isSo = commitment(2, salt, body) === said.payload;
    must(isSo, `${place}: its payload is not the one it commits to`);
  }
  const due = by === undefined ? { salt: salt ?? '', issued: said.issued } : by.texts.get(at);
  const texts = issued.map((text) => `${text}\n`).join('');
  const isFit = due === undefined ? issued.length === 0 : commitment(4, due.salt, texts) === due.issued;
  const whose = by === undefined ? 'it commits to' : `that entry ${by.at} left`;
  must(isFit, `${place}: the texts issued with it are not those ${whose}`);
}

const commitment = (kind: number, salt: string, text: string): string =>
  hex(Buffer.of(kind), Buffer.from(salt, 'hex'), text);

/** Place of the entry after it that says that a step of a delivery was erased. @param tombstones newest first */
const stepErasedBy = (tombstones: readonly Tombstone[], event: number, at: number): number | undefined =>
  tombstones.find((each) => each.at > at && isIn(each.steps, event))?.at;

/** What deliveries.ndjson must say of the entry: each step has its hash, 0x06 salt text, at its place in the list of the entry. */
export function tellSteps(
  entry: Content,
  place: string,
  isPart: boolean,
  tombstones: readonly Tombstone[],
  say: Say,
) {
  const { log_index, stream, body, steps = [] } = entry;
  type Listed = { first?: number; hashes?: string[] };
  const { first = 0, hashes = [] } = JSON.parse((stream === 'delivery' && body) || '{}') as Listed;
  const erasedBy = (event: number): number | undefined => stepErasedBy(tombstones, event, log_index);
  for (const [n, { event, salt, text }] of steps.entries()) {
    const isNamed = commitment(6, salt, text) === hashes[event - first];
    const isSo = isNamed && event > (steps[n - 1]?.event ?? -1);
    must(isSo, `${place}: delivery event ${event} is not as it tells it`);
    const by = erasedBy(event);
    must(
      by === undefined,
      `${place}: delivery event ${event} is here, and entry ${by} says that it was erased`,
    );
    say('deliveries.ndjson', `{"log_index":${log_index},"event":${event},"step":${text}}\n`);
  }
  const due = hashes.filter((_, n) => erasedBy(first + n) === undefined).length;
  must(isPart || steps.length === due, `${place}: a delivery event that it tells of is missing`, 2);
}
