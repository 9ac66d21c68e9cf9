/** Texts of frames and holes kept together: they come back as they were, and what was said before is not said again. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { type NamedHoles, readSharing, writeSharing } from '../../src/json/shared-holes.ts';

/** Few different ones, so that most come again; digits and brackets too, which a number could be taken for. */
const hole = fc.oneof(fc.constantFrom('0', '1', '', 'd', '"', '[1]', '\u2028', 'ü'), fc.string());
const texts = fc.array(
  fc.tuple(fc.string(), fc.array(hole)).map(([frame, holes]): NamedHoles => [frame, ...holes]),
);

test('what is read is what was written', () => {
  fc.assert(
    fc.property(texts, (all) => {
      expect(readSharing(writeSharing(all))).toEqual(all);
    }),
  );
});

test('each hole is written out once, and its number after that', () => {
  fc.assert(
    fc.property(texts, (all) => {
      const written = (JSON.parse(writeSharing(all)) as unknown[][]).flatMap(([, ...holes]) => holes);
      const out = written.filter((each) => typeof each === 'string');
      expect(out).toEqual([...new Set(all.flatMap(([, ...holes]) => holes))]);
      expect(written.map((each) => (typeof each === 'number' ? out[each] : each))).toEqual(
        all.flatMap(([, ...holes]) => holes),
      );
    }),
  );
});

test.each([
  // As a ledger holds them that was begun before anything was shared.
  [
    '[["f","d1","e1","d1"],["g","d1"]]',
    [
      ['f', 'd1', 'e1', 'd1'],
      ['g', 'd1'],
    ],
  ],
  [
    '[["f","d1","e1",0],["g",0,"x",2]]',
    [
      ['f', 'd1', 'e1', 'd1'],
      ['g', 'd1', 'x', 'x'],
    ],
  ],
  ['[]', []],
])('%s', (stored, all) => {
  expect(readSharing(stored)).toEqual(all);
});
