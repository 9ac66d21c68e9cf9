/**
 * What the log says of a lawful erasure: a tombstone. It names each entry whose payload is gone, so that a verifier tells
 * what was lawfully erased from what is missing. The envelopes stay, and with them every hash of the chains and the tree.
 */
import { writeCanonical } from '../json/canonical.ts';
import { issuedCommitment } from './chain.ts';

/** Stream of these entries: no drain can be called so. */
export const ERASURE = 'erasure';
export const ERASED_TYPE = 'erased';

/** First and last of numbers that follow without a gap. */
export type Run = readonly [first: number, last: number];

export interface Erased {
  readonly drains: readonly string[];
  /** Places in the log of entries whose payload, salt and receipt are gone. */
  readonly entries: readonly Run[];
  /** Entries with which texts of other drains were issued, or whose payload is of another: what is left of their texts. */
  readonly texts: readonly LeftTexts[];
  /** Numbers of delivery events that are gone. */
  readonly steps: readonly Run[];
  readonly reason: string;
}

/** What stands of the texts of an entry, committed to anew: its own commitment was to those that are gone as well. */
export interface LeftTexts {
  readonly entry: number;
  /** Hex. */
  readonly salt: string;
  /** {@link issuedCommitment}. */
  readonly issued: string;
}

export const writeErased = (erased: Erased): string =>
  writeCanonical({ kind: ERASED_TYPE, ...erased }, () => undefined);

/** Reads what {@link writeErased} wrote. */
export const readErased = (body: string): Erased => JSON.parse(body) as Erased;

/** @param numbers rising */
export function runsOf(numbers: readonly number[]): readonly Run[] {
  const runs: [number, number][] = [];
  for (const number of numbers) {
    const last = runs.at(-1);
    if (last !== undefined && last[1] === number - 1) last[1] = number;
    else runs.push([number, number]);
  }
  return runs;
}

/** A tombstone, and its place in the log. */
export interface Tombstone {
  readonly logIndex: number;
  readonly erased: Erased;
}

/** What the newest tombstone that names an entry says of it. */
export interface ErasedEntry {
  /** Place of that tombstone. */
  readonly by: number;
  /** Its payload is gone. */
  readonly payload: boolean;
  /** Whether these are the texts that were left with it. */
  areLeft(issued: readonly string[]): boolean;
}

export interface Erasures {
  entry(logIndex: number): ErasedEntry | undefined;
  /** Place of the tombstone of a delivery event. */
  step(event: number): number | undefined;
}

export const NONE_ERASED: Erasures = { entry: () => undefined, step: () => undefined };

/** @param tombstones in the order of the log; each speaks only of what stands before it */
export function createErasures(tombstones: readonly Tombstone[]): Erasures {
  if (tombstones.length === 0) return NONE_ERASED;
  const read = [...tombstones].reverse().map(({ logIndex, erased }) => ({
    by: logIndex,
    ...erased,
    texts: new Map(erased.texts.map((left) => [left.entry, left])),
  }));
  return {
    entry(logIndex) {
      for (const { by, entries, texts } of read) {
        if (by <= logIndex) continue;
        const [payload, left] = [isIn(entries, logIndex), texts.get(logIndex)];
        if (payload || left !== undefined) return { by, payload, areLeft: (issued) => areLeft(left, issued) };
      }
      return undefined;
    },
    step: (event) => read.find(({ steps }) => isIn(steps, event))?.by,
  };
}

function areLeft(left: LeftTexts | undefined, issued: readonly string[]): boolean {
  if (left === undefined) return issued.length === 0;
  return issuedCommitment(Buffer.from(left.salt, 'hex'), issued) === left.issued;
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
