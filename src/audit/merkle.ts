/**
 * The Merkle tree of RFC 9162, section 2.1, over SHA-256: roots, and proofs that a leaf is in a tree (2.1.3) and that one
 * tree is the beginning of another (2.1.4). Only hashes go in and out; who keeps them is somebody else's matter.
 */
import { hash } from 'node:crypto';

/** 32 bytes. */
export type Hash = Buffer;

const HASH_BYTES = 32;
const EMPTY_ROOT: Hash = sha256(Buffer.alloc(0));

function sha256(bytes: Uint8Array): Hash {
  return hash('sha256', bytes, 'buffer');
}

// Hashing is synchronous, so the bytes to hash may lie in one place: no allocation for each node of a long log.
const leafBytes = Buffer.alloc(1 + HASH_BYTES);
const nodeBytes = Buffer.alloc(1 + 2 * HASH_BYTES, 0x01);

/** Leaf of an entry, from the hex of its hash: SHA-256(0x00 || the hash's 32 bytes). */
export function leafOf(entryHash: string): Hash {
  if (leafBytes.write(entryHash, 1, 'hex') !== HASH_BYTES)
    throw new Error(`${entryHash} is no SHA-256 in hex`);
  return sha256(leafBytes);
}

/** SHA-256(0x01 || left || right) */
export function nodeOf(left: Hash, right: Hash): Hash {
  nodeBytes.set(left, 1);
  nodeBytes.set(right, 1 + HASH_BYTES);
  return sha256(nodeBytes);
}

/** A tree as it grows at its right edge: the roots of its largest complete subtrees, left to right, are all it needs. */
export class Frontier {
  size: number;
  private readonly roots: Hash[];

  constructor(size = 0, roots: readonly Hash[] = []) {
    this.size = size;
    this.roots = [...roots];
  }

  /** @throws {Error} where the bytes are not those of a tree of so many leaves */
  static of(size: number, bytes: Buffer): Frontier {
    const roots: Hash[] = [];
    for (let at = 0; at < bytes.length; at += HASH_BYTES) roots.push(bytes.subarray(at, at + HASH_BYTES));
    if (bytes.length !== HASH_BYTES * onesIn(size)) throw new Error(`a tree of ${size} has another frontier`);
    return new Frontier(size, roots);
  }

  /** @param onComplete told each subtree of 2^height leaves that the leaf completes, by its place among those */
  add(leaf: Hash, onComplete?: (height: number, place: number, root: Hash) => void): void {
    let root = leaf;
    let place = this.size;
    for (let height = 1; place % 2 === 1; height += 1) {
      const left = this.roots.pop();
      if (left === undefined) throw new Error(`the frontier of ${this.size} leaves lacks a root`);
      root = nodeOf(left, root);
      place = (place - 1) / 2;
      onComplete?.(height, place, root);
    }
    this.roots.push(root);
    this.size += 1;
  }

  root(): Hash {
    return this.roots.length === 0
      ? EMPTY_ROOT
      : this.roots.reduceRight((right, left) => nodeOf(left, right));
  }

  /** What {@link Frontier.of} reads back. */
  bytes(): Buffer {
    return Buffer.concat(this.roots);
  }
}

/** Gives the root of the complete subtree of 2^height leaves that has so many of its kind to its left. */
export type ReadSubtree = (height: number, place: number) => Hash;

/** Root of the leaves from `start` up to `end`; `start` is where a subtree may begin. */
function rootBetween(read: ReadSubtree, start: number, end: number): Hash {
  const size = end - start;
  const left = split(size);
  if (2 * left === size || size === 1) return read(Math.log2(size), start / size);
  return nodeOf(rootBetween(read, start, start + left), rootBetween(read, start + left, end));
}

/** Root of the first `size` leaves. */
export function rootOf(read: ReadSubtree, size: number): Hash {
  return size === 0 ? EMPTY_ROOT : rootBetween(read, 0, size);
}

/**
 * Proof that the leaf at `index` is in the tree of the first `size`, from the leaf's sibling up.
 * @throws {RangeError} where it is not
 */
export function inclusionProof(read: ReadSubtree, index: number, size: number): Hash[] {
  if (!(index >= 0 && index < size)) throw new RangeError(`a tree of ${size} has no leaf ${index}`);
  const proof: Hash[] = [];
  let [start, end] = [0, size];
  while (end - start > 1) {
    const middle = start + split(end - start);
    const isLeft = index < middle;
    proof.push(isLeft ? rootBetween(read, middle, end) : rootBetween(read, start, middle));
    if (isLeft) end = middle;
    else start = middle;
  }
  return proof.reverse();
}

/**
 * Proof that the tree of the first `from` leaves is the beginning of that of the first `to`.
 * @throws {RangeError} unless 0 < from <= to
 */
export function consistencyProof(read: ReadSubtree, from: number, to: number): Hash[] {
  if (!(from > 0 && from <= to)) throw new RangeError(`a tree of ${from} is no beginning of one of ${to}`);
  const proof: Hash[] = [];
  let [start, end] = [0, to];
  while (from !== end) {
    const middle = start + split(end - start);
    const isLeft = from <= middle;
    proof.push(isLeft ? rootBetween(read, middle, end) : rootBetween(read, start, middle));
    if (isLeft) end = middle;
    else start = middle;
  }
  // What the older tree's own root says already is left out.
  if (start > 0) proof.push(rootBetween(read, start, end));
  return proof.reverse();
}

/** RFC 9162, 2.1.3.2. */
export function isIncluded(
  leaf: Hash,
  index: number,
  size: number,
  proof: readonly Hash[],
  root: Hash,
): boolean {
  if (index < 0 || index >= size) return false;
  let [node, last, sum] = [index, size - 1, leaf];
  for (const each of proof) {
    if (last === 0) return false;
    if (node % 2 === 1 || node === last) {
      sum = nodeOf(each, sum);
      while (node % 2 === 0 && node !== 0) [node, last] = [half(node), half(last)];
    } else {
      sum = nodeOf(sum, each);
    }
    [node, last] = [half(node), half(last)];
  }
  return last === 0 && sum.equals(root);
}

export interface Head {
  readonly size: number;
  readonly root: Hash;
}

/** RFC 9162, 2.1.4.2; and a tree is the beginning of itself, and the empty one of any. */
export function isBeginning(older: Head, newer: Head, proof: readonly Hash[]): boolean {
  if (older.size > newer.size) return false;
  if (older.size === newer.size) return proof.length === 0 && older.root.equals(newer.root);
  if (older.size === 0) return proof.length === 0 && older.root.equals(EMPTY_ROOT);
  const [first, ...rest] = isPowerOfTwo(older.size) ? [older.root, ...proof] : proof;
  if (first === undefined) return false;
  let [node, last] = [older.size - 1, newer.size - 1];
  while (node % 2 === 1) [node, last] = [half(node), half(last)];
  let [before, after] = [first, first];
  for (const each of rest) {
    if (last === 0) return false;
    if (node % 2 === 1 || node === last) {
      before = nodeOf(each, before);
      after = nodeOf(each, after);
      while (node % 2 === 0 && node !== 0) [node, last] = [half(node), half(last)];
    } else {
      after = nodeOf(after, each);
    }
    [node, last] = [half(node), half(last)];
  }
  return last === 0 && before.equals(older.root) && after.equals(newer.root);
}

const half = (n: number): number => Math.floor(n / 2);

/** The largest power of two below n; 1 of 1. Without bit operators, which would cut n to 32 bits. */
function split(n: number): number {
  let power = 1;
  while (2 * power < n) power *= 2;
  return power;
}

const isPowerOfTwo = (n: number): boolean => n === 1 || 2 * split(n) === n;

function onesIn(n: number): number {
  let ones = 0;
  for (let rest = n; rest > 0; rest = half(rest)) ones += rest % 2;
  return ones;
}
