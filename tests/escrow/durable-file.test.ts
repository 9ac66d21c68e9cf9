import {
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { writeWhole } from '../../src/escrow/durable-file.ts';

let folder: string;
const at = (name: string): string => join(folder, name);

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'durable-test-'));
});
afterEach(() => rmSync(folder, { recursive: true }));

test('a new file is for its owner alone, and one that others could read stays so', async () => {
  await writeWhole(at('new'), 'a');
  writeFileSync(at('old'), 'a', { mode: 0o640 });
  await writeWhole(at('old'), 'b');
  expect([statSync(at('new')).mode & 0o777, statSync(at('old')).mode & 0o777]).toEqual([0o600, 0o640]);
  expect([readFileSync(at('old'), 'utf8'), readdirSync(folder)]).toEqual(['b', ['new', 'old']]);
});

// CWE-59 (link following), CWE-379 (a file that somebody else made first): from memory.
test('a draft that lies there already, or a link in its place, is not written into', async () => {
  writeFileSync(at('other'), 'kept');
  symlinkSync(at('other'), at('linked.draft'));
  await writeWhole(at('linked'), 'a');
  writeFileSync(at('read.draft'), 'what a crash left', { mode: 0o644 });
  await writeWhole(at('read'), 'a');
  expect([readFileSync(at('other'), 'utf8'), readFileSync(at('linked'), 'utf8')]).toEqual(['kept', 'a']);
  expect([readFileSync(at('read'), 'utf8'), statSync(at('read')).mode & 0o777]).toEqual(['a', 0o600]);
  expect(readdirSync(folder)).toEqual(['linked', 'other', 'read']);
});
