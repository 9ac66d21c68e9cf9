/** The tree against published vectors, against a literal reading of the RFC, and against forgeries. */
import { createHash } from 'node:crypto';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  consistencyProof,
  Frontier,
  type Hash,
  inclusionProof,
  isBeginning,
  isIncluded,
  leafOf,
  type ReadSubtree,
  rootOf,
} from '../../src/audit/merkle.ts';

// Leaves, roots and proofs of the Certificate Transparency reference tests: google/certificate-transparency,
// cpp/merkletree/merkle_tree_test.cc; also transparency-dev/merkle, testonly/constants.go.
const LEAVES = [
  '',
  '00',
  '10',
  '2021',
  '3031',
  '40414243',
  '5051525354555657',
  '606162636465666768696a6b6c6d6e6f',
];
const ROOTS = [
  'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855',
  '6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d',
  'fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125',
  'aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77',
  'd37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7',
  '4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4',
  '76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef',
  'ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c',
  '5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328',
];
const INCLUSION: [number, number, string[]][] = [
  [0, 1, []],
  [
    0,
    8,
    [
      '96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7',
      '5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e',
      '6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4',
    ],
  ],
  [
    5,
    8,
    [
      'bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b',
      'ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0',
      'd37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7',
    ],
  ],
];
const CONSISTENCY: [number, number, string[]][] = [
  [1, 1, []],
  [
    2,
    5,
    [
      '5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e',
      'bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b',
    ],
  ],
];

const sha256 = (...parts: Uint8Array[]): Hash =>
  parts.reduce((sum, part) => sum.update(part), createHash('sha256')).digest();
const hex = (hashes: readonly Hash[]) => hashes.map((each) => each.toString('hex'));

/** RFC 9162, 2.1.1, word by word, over hashes of leaves. */
function mth(leaves: readonly Hash[]): Hash {
  const [first] = leaves;
  if (first === undefined) return sha256(Buffer.alloc(0));
  if (leaves.length === 1) return first;
  const k = 2 ** Math.floor(Math.log2(leaves.length - 1));
  return sha256(Buffer.of(1), mth(leaves.slice(0, k)), mth(leaves.slice(k)));
}

const reading =
  (leaves: readonly Hash[]): ReadSubtree =>
  (height, place) =>
    mth(leaves.slice(place * 2 ** height, (place + 1) * 2 ** height));

function grown(leaves: readonly Hash[]): Frontier {
  const frontier = new Frontier();
  for (const leaf of leaves) frontier.add(leaf);
  return frontier;
}

const reference = LEAVES.map((data) => sha256(Buffer.of(0), Buffer.from(data, 'hex')));

describe('published vectors', () => {
  test.each(ROOTS.map((root, size) => ({ size, root })))('root of $size leaves', ({ size, root }) => {
    expect(rootOf(reading(reference), size).toString('hex')).toBe(root);
    expect(grown(reference.slice(0, size)).root().toString('hex')).toBe(root);
  });

  test.each(INCLUSION)('inclusion of leaf %i in %i', (index, size, proof) => {
    expect(hex(inclusionProof(reading(reference), index, size))).toEqual(proof);
  });

  test.each(CONSISTENCY)('consistency of %i with %i', (from, to, proof) => {
    expect(hex(consistencyProof(reading(reference), from, to))).toEqual(proof);
  });

  test('the leaf of an entry is SHA-256 of 0x00 and the 32 bytes of its hash', () => {
    const entry = 'ab'.repeat(32);
    expect(leafOf(entry)).toEqual(sha256(Buffer.of(0), Buffer.from(entry, 'hex')));
    for (const bad of ['', 'ab', `${'ab'.repeat(31)}zz`]) expect(() => leafOf(bad)).toThrow('no SHA-256');
  });
});

const leavesOf = (size: number, seed = 0): Hash[] =>
  Array.from({ length: size }, (_, i) => sha256(Buffer.from(`${seed}/${i}`)));
const sized = fc.integer({ min: 1, max: 300 });
const within = fc.tuple(sized, fc.nat()).map(([size, n]): [number, number] => [size, n % size]);

describe('a tree of any size', () => {
  test('grows to the root that the RFC gives, and tells every subtree that it completes', () => {
    fc.assert(
      fc.property(sized, (size) => {
        const leaves = leavesOf(size);
        const frontier = new Frontier();
        const told = new Map<string, Hash>();
        for (const leaf of leaves)
          frontier.add(leaf, (height, place, root) => told.set(`${height}/${place}`, root));
        expect(frontier.root()).toEqual(mth(leaves));
        for (let height = 1; 2 ** height <= size; height += 1)
          for (let place = 0; (place + 1) * 2 ** height <= size; place += 1)
            expect(told.get(`${height}/${place}`)).toEqual(reading(leaves)(height, place));
        expect(Frontier.of(size, frontier.bytes()).root()).toEqual(mth(leaves));
        expect(() => Frontier.of(size + 1, frontier.bytes().subarray(1))).toThrow('another frontier');
      }),
      { numRuns: 60 },
    );
  });

  test('proves each of its leaves, and nothing that differs in leaf, place, size, root or proof', () => {
    fc.assert(
      fc.property(within, fc.nat(), ([size, index], pick) => {
        const leaves = leavesOf(size);
        const root = mth(leaves);
        const proof = inclusionProof(reading(leaves), index, size);
        const leaf = leaves[index] as Hash;
        expect(isIncluded(leaf, index, size, proof, root)).toBe(true);
        const other = sha256(Buffer.from('other'));
        expect(isIncluded(other, index, size, proof, root)).toBe(false);
        expect(isIncluded(leaf, index, size, proof, other)).toBe(false);
        expect(isIncluded(leaf, size, size, proof, root)).toBe(false);
        expect(isIncluded(leaf, -1, size, proof, root)).toBe(false);
        expect(isIncluded(leaf, index, size, [...proof, other], root)).toBe(false);
        if (size > 1) {
          const wrong = (index + 1 + (pick % (size - 1))) % size;
          expect(isIncluded(leaf, wrong, size, proof, root)).toBe(false);
          expect(isIncluded(leaf, index, size, proof.slice(1), root)).toBe(false);
          const at = pick % proof.length;
          expect(isIncluded(leaf, index, size, proof.with(at, other), root)).toBe(false);
        }
      }),
    );
  });

  test('proves each of its beginnings, and no other history', () => {
    fc.assert(
      fc.property(within, fc.nat(), ([to, less], pick) => {
        const from = to - less;
        const leaves = leavesOf(to);
        const [older, newer] = [
          { size: from, root: mth(leaves.slice(0, from)) },
          { size: to, root: mth(leaves) },
        ];
        const proof = consistencyProof(reading(leaves), from, to);
        expect(isBeginning(older, newer, proof)).toBe(true);
        const other = sha256(Buffer.from('other'));
        expect(isBeginning({ ...older, root: other }, newer, proof)).toBe(false);
        expect(isBeginning(older, { ...newer, root: other }, proof)).toBe(false);
        expect(isBeginning(older, newer, [...proof, other])).toBe(false);
        expect(isBeginning({ ...older, size: to + 1 }, newer, proof)).toBe(false);
        if (proof.length > 0) {
          expect(isBeginning(older, newer, proof.with(pick % proof.length, other))).toBe(false);
          expect(isBeginning(older, newer, proof.slice(1))).toBe(false);
        }
        // A history with one entry of the beginning rewritten proves itself, but not the beginning that was seen.
        const rewritten = leaves.with(pick % from, other);
        const forged = consistencyProof(reading(rewritten), from, to);
        expect(isBeginning(older, { size: to, root: mth(rewritten) }, forged)).toBe(false);
      }),
    );
  });

  test('has no proof of what it does not hold', () => {
    const read = reading(leavesOf(5));
    for (const index of [-1, 5]) expect(() => inclusionProof(read, index, 5)).toThrow(RangeError);
    for (const from of [0, 6]) expect(() => consistencyProof(read, from, 5)).toThrow(RangeError);
    expect(isBeginning({ size: 0, root: mth([]) }, { size: 5, root: mth(leavesOf(5)) }, [])).toBe(true);
    expect(
      isBeginning({ size: 0, root: sha256(Buffer.of(7)) }, { size: 5, root: mth(leavesOf(5)) }, []),
    ).toBe(false);
  });
});
