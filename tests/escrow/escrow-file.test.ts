/** The file that checkpoints are appended to, as a crash may leave it. */
import { appendFileSync, mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { appendToEscrow, readEscrow, readEscrowFile } from '../../src/escrow/escrow-file.ts';

const folder = mkdtempSync(join(tmpdir(), 'escrow-test-'));
afterAll(() => rmSync(folder, { recursive: true }));

const head = (size: number) => `log.example\n${size}\n${Buffer.alloc(32, size).toString('base64')}\n`;
const sizes = (text: string) => readEscrow(text).notes.map(({ size }) => size);

test('holds a line a checkpoint, for its owner alone, and says which came last', async () => {
  const file = join(folder, 'all.ndjson');
  expect(readEscrowFile(file)).toBeUndefined();
  for (const size of [1, 2, 3]) await appendToEscrow(file, head(size), '2026-03-01T08:00:00.000Z');
  expect(sizes(readFileSync(file, 'utf8'))).toEqual([1, 2, 3]);
  expect(readFileSync(file, 'utf8')).toContain('"at":"2026-03-01T08:00:00.000Z"');
  expect(readEscrowFile(file)?.note.size).toBe(3);
  expect(statSync(file).mode & 0o777).toBe(0o600);
});

test('a line that a crash cut short is passed over, named, and spoils no other', async () => {
  const file = join(folder, 'cut.ndjson');
  await appendToEscrow(file, head(1), 'then');
  appendFileSync(file, '\n{"at":"then","checkpoint":"log.exa');
  await appendToEscrow(file, head(2), 'then');
  const { notes, unreadable } = readEscrow(readFileSync(file, 'utf8'));
  expect(notes.map(({ size }) => size)).toEqual([1, 2]);
  expect(unreadable).toEqual([4]);
});

test('a single checkpoint as it was signed is read as well; words are none', () => {
  expect(sizes(head(7))).toEqual([7]);
  expect(readEscrow('words\n{"checkpoint":5}\n')).toEqual({ notes: [], unreadable: [1, 2] });
});
