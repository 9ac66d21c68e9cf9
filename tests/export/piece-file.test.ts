/** What is written in pieces is what was added, to the byte; UTF-8 by the encoder of the platform. */
import { mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, expect, test } from 'vitest';
import { openPieceFile } from '../../src/export/piece-file.ts';

const folder = mkdtempSync(join(tmpdir(), 'pieces-'));
afterAll(() => rmSync(folder, { recursive: true }));
let made = 0;

function written(texts: readonly string[]) {
  made += 1;
  const path = join(folder, String(made));
  const told: Buffer[] = [];
  // Bytes are good for the call alone, so they are copied.
  const file = openPieceFile(path, (bytes) => told.push(Buffer.from(bytes)));
  for (const text of texts) file.add(text);
  file.finish();
  return { path, bytes: readFileSync(path), told: Buffer.concat(told), pieces: told.length };
}

const text = fc
  .tuple(fc.oneof(fc.string(), fc.string({ unit: 'binary' })), fc.constantFrom(1, 7, 20_000))
  .map(([some, times]) => some.repeat(times));

test('in any pieces, of any length and in any letters', () => {
  fc.assert(
    fc.property(fc.array(text, { maxLength: 40 }), (found) => {
      const texts = found.map((each) => each.toWellFormed());
      const expected = Buffer.from(new TextEncoder().encode(texts.join('')));
      const { bytes, told } = written(texts);
      expect(bytes.equals(expected)).toBe(true);
      expect(told.equals(expected)).toBe(true);
    }),
    { numRuns: 60 },
  );
});

test('many lines in few pieces, and a line that is longer than a piece', () => {
  const lines = Array.from({ length: 10_000 }, (_, n) => `{"n":${n},"text":"${'é'.repeat(50)}"}\n`);
  const long = `${'€'.repeat(300_000)}\n`;
  const { bytes, pieces, path } = written([...lines, long, ...lines]);
  expect(bytes.toString()).toBe(lines.join('') + long + lines.join(''));
  expect(pieces).toBeLessThan(30);
  expect(statSync(path).mode & 0o777).toBe(0o600);
});

test('a file that is there already is left as it is', () => {
  const { path, bytes } = written(['first']);
  expect(() => openPieceFile(path)).toThrow('EEXIST');
  expect(readFileSync(path).equals(bytes)).toBe(true);
});
