/** What a target took last: read back as it was told, and kept through the change of how it is stored. */
import { cpSync, mkdirSync, readdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, it } from 'vitest';
import type { Taken } from '../../src/store/delivery-port.ts';
import { migrate } from '../../src/store/sqlite/migrate.ts';
import { openWriter } from '../../src/store/sqlite/open.ts';
import { createTakenReader, createTakenWriter } from '../../src/store/sqlite/taken.ts';
import { ledgerForEach } from './ledger.ts';

const MIGRATIONS = fileURLToPath(new URL('../../migrations', import.meta.url));
const ledger = ledgerForEach();

const taken = (resource: string, more: Partial<Taken> = {}): Taken => ({
  ...{ resource, version: 1, remote: resource, etag: 'W/"1"', acceptedMs: null },
  ...more,
});
const LEVEL = taken('Observation/level.d.a');
const RATE = taken('Observation/drainage-rate.d.a', { remote: 'Observation/77', acceptedMs: 5 });
const OLDER = taken('Device/collection-unit.d.b', { version: 2, remote: null, etag: null });

it('is read back by name, whatever it hangs on; what was not taken is left out', () => {
  const [write, read] = [createTakenWriter(ledger.db), createTakenReader(ledger.db)];
  write('ehr', 'd', [LEVEL, OLDER]);
  write('ehr', 'd', [RATE]);
  const names = [LEVEL, RATE, OLDER].map(({ resource }) => resource);
  expect(read('ehr', 'd', [...names, 'Observation/level.d.c', 'Observation/reading.d.a'])).toEqual([
    LEVEL,
    RATE,
    OLDER,
  ]);
  expect([read('other', 'd', names), read('ehr', 'e', names), read('ehr', 'd', [])]).toEqual([[], [], []]);
});

it('is replaced by what is taken later, but for its name there, where that is not told again', () => {
  const [write, read] = [createTakenWriter(ledger.db), createTakenReader(ledger.db)];
  write('ehr', 'd', [RATE, LEVEL]);
  const later = { ...RATE, version: 2, etag: null, acceptedMs: null };
  write('ehr', 'd', [{ ...later, remote: null }]);
  expect(read('ehr', 'd', [RATE.resource, LEVEL.resource])).toEqual([later, LEVEL]);
});

it('is still known after the ledger was brought from a row for each resource to a row for each entry', () => {
  const folder = join(dirname(ledger.file), 'before');
  mkdirSync(folder);
  const files = readdirSync(MIGRATIONS).sort();
  const before = files.slice(
    0,
    files.findIndex((file) => file.endsWith('-taken.sql')),
  );
  for (const file of before) cpSync(join(MIGRATIONS, file), join(folder, file));
  const db = openWriter(join(dirname(ledger.file), 'old.db'));
  migrate(db, folder);
  const insert = db.prepare("INSERT INTO taken VALUES ('ehr', 'd', ?, ?, ?, ?, ?)");
  for (const { resource, version, remote, etag, acceptedMs } of [LEVEL, RATE, OLDER])
    insert.run(resource.split('.').reverse().join('.'), version, remote, etag, acceptedMs);
  migrate(db, MIGRATIONS);
  const names = [LEVEL, RATE, OLDER].map(({ resource }) => resource);
  expect(createTakenReader(db)('ehr', 'd', names)).toEqual([LEVEL, RATE, OLDER]);
  db.close();
});
