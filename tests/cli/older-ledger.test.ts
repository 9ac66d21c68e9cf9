/** The command line on a ledger that an older release wrote last, and on what is none: told in words, and nothing is written. */
import { spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import Database from 'better-sqlite3';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { migrate } from '../../src/store/sqlite/migrate.ts';

const at = (path: string): string => fileURLToPath(new URL(path, import.meta.url));
let folder: string;
let older: string;
let none: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'older-ledger-'));
  const fewer = join(folder, 'migrations');
  mkdirSync(fewer);
  for (const name of readdirSync(at('../../migrations')).sort().slice(0, -1))
    copyFileSync(at(`../../migrations/${name}`), join(fewer, name));
  [older, none] = [join(folder, 'older.db'), join(folder, 'none.db')];
  const db = new Database(older);
  migrate(db, fewer);
  db.close();
  new Database(none).exec('CREATE TABLE other (x)').close();
});
afterAll(() => rmSync(folder, { recursive: true }));

test.each([
  ['export', (file: string) => ['export', file, '--drain', 'x', '--out', 'out']],
  ['audit-bundle', () => ['audit-bundle', '--drain', 'x', '--out', 'out']],
  ['retention', () => ['retention', '--dry-run']],
  ['erase', () => ['erase', '--drain', 'x', '--dry-run']],
] as const)('%s', (_name, args) => {
  const run = (file: string) =>
    spawnSync(process.execPath, [at('../../dist/cli/main.js'), ...args(file)], {
      cwd: folder,
      encoding: 'utf8',
      env: {
        DRAINLEDGER_DATABASE: file,
        DRAINLEDGER_ORIGIN: 'test.example',
        DRAINLEDGER_RETENTION_DAYS: '1',
        DRAINLEDGER_ARCHIVE: folder,
      },
    });
  expect(run(older)).toMatchObject({
    status: 64,
    stderr: `${older} is of another release: start the service of this one on it first, or use the one that last used it\n`,
  });
  expect(run(none)).toMatchObject({ status: 64, stderr: `${none} is a database, and holds no ledger\n` });
  expect(existsSync(join(folder, 'out'))).toBe(false);
});
