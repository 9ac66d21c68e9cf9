/** `verify` on a ledger that is whole, and on what somebody did to its end, its checkpoints and the rest of its file. */
import { generateKeyPairSync } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { rawPublicKey } from '../../src/audit/checkpoint.ts';
import { writeHeartbeat } from '../../src/audit/heartbeat.ts';
import { writeReplacement, writeRestored, writeRotation } from '../../src/audit/notices.ts';
import { createTree } from '../../src/store/sqlite/tree.ts';
import { openLedger } from '../store/ledger.ts';
import * as by from './tampered.ts';
import { type Bench, openBench, outcome, verify } from './verified.ts';

let bench: Bench;
beforeAll(async () => {
  bench = await openBench();
});
afterAll(() => bench.remove());

describe('a ledger that is whole', () => {
  it('is ok, with and without what was escrowed', () => {
    expect(verify(bench.good)).toEqual({
      finding: null,
      remarks: [
        '16 entries of store.example',
        '2 checkpoints, the newest of 16 entries; 0 entries are newer',
      ],
    });
    expect(outcome(verify(bench.good, [bench.first, bench.second]))).toEqual([0, null]);
  });

  it('is ok when nothing was done to it but opening and closing it', () => {
    expect(outcome(verify(bench.changed(() => {})))).toEqual([0, null]);
  });

  it('is only read: not a byte of the file is another afterwards', () => {
    const file = bench.copy();
    const before = readFileSync(file);
    verify(file);
    expect(readFileSync(file).equals(before)).toBe(true);
  });
});

describe('a log that was silent', () => {
  const at = (time: string) => Date.parse(`2126-11-20T${time}Z`);

  async function written(...times: readonly string[]): Promise<readonly string[]> {
    const file = bench.copy();
    let now = 0;
    const ledger = openLedger(file, { origin: by.LOG, now: () => now });
    for (const time of times) {
      now = at(time);
      await ledger.store.heartbeat(
        writeHeartbeat({ every_s: 60, running_since: '2126-11-20T08:00:00.000Z' }),
      );
    }
    await ledger.store.checkpoint(by.sign(by.key));
    await ledger.close();
    const { finding, remarks } = verify(file);
    expect(finding).toBeNull();
    return remarks;
  }

  it('for up to two minutes says that it ran', async () => {
    expect(await written('08:00:00', '08:01:00', '08:03:00')).toContain(
      'from entry 16 on it tells that it runs: it was never silent for more than 120 s, and its newest entry is of 2126-11-20T08:03:00.000Z',
    );
  });

  it('for longer is told, though nothing was changed: nobody can say what was not written then', async () => {
    expect(await written('08:00:00', '08:02:01', '08:03:00', '09:00:00')).toContain(
      'from entry 16 on it tells that it runs: it was silent 2 times, longest from 2126-11-20T08:03:00.000Z to ' +
        '2126-11-20T09:00:00.000Z, for more than 120 s, and its newest entry is of 2126-11-20T09:00:00.000Z',
    );
  });
});

describe('the key', () => {
  it('that is another than the log names is unknown: 3', () => {
    const other = rawPublicKey(generateKeyPairSync('ed25519').privateKey);
    expect(outcome(verify(bench.good, [], other))).toEqual([
      3,
      expect.stringMatching(/^checkpoint 14 of the database: it is signed by .* neither the key given/),
    ]);
  });

  it('that is not given leaves signatures unchecked: 3', () => {
    expect(outcome(verify(bench.good, [], null))).toEqual([3, expect.stringContaining('no key was given')]);
  });

  it('may be handed over: either of the two will do, and each counts in its own time only', async () => {
    const next = generateKeyPairSync('ed25519').privateKey;
    const file = bench.copy();
    const ledger = openLedger(file, { origin: by.LOG });
    const body = writeRotation(by.LOG, by.key, rawPublicKey(next));
    await ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
    await ledger.store.checkpoint(by.sign(next));
    await ledger.close();
    expect(outcome(verify(file))).toEqual([0, null]);
    expect(outcome(verify(file, [], rawPublicKey(next)))).toEqual([0, null]);

    const late = bench.copy();
    const again = openLedger(late, { origin: by.LOG });
    await again.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
    await again.store.checkpoint(by.sign(by.key));
    await again.close();
    expect(outcome(verify(late))).toEqual([1, expect.stringContaining('not in use for a log of its size')]);
  });

  it('cannot be handed over by anybody else', async () => {
    const thief = generateKeyPairSync('ed25519').privateKey;
    const file = bench.copy();
    const ledger = openLedger(file, { origin: by.LOG });
    const body = writeRotation(by.LOG, thief, rawPublicKey(thief));
    await ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
    await ledger.store.checkpoint(by.sign(thief));
    await ledger.close();
    const said = 'the keys of the log: entry 16 names a new key, and the key before it did not sign that';
    expect(outcome(verify(file))).toEqual([1, said]);
  });
});

describe('a key that was lost', () => {
  const next = generateKeyPairSync('ed25519').privateKey;
  async function replaced(lost: Buffer): Promise<string> {
    const file = bench.copy();
    const ledger = openLedger(file, { origin: by.LOG });
    const body = writeReplacement(lost, rawPublicKey(next), 'the disk broke');
    await ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
    await ledger.store.checkpoint(by.sign(next));
    await ledger.close();
    return file;
  }

  it('is replaced by one that counts for all of the log, and that is always told', async () => {
    const report = verify(await replaced(by.PUBLIC), [bench.first, bench.second], rawPublicKey(next));
    expect(outcome(report)).toEqual([0, null]);
    expect(report.remarks).toContain(
      'entry 16 names a key in place of a lost one, which did not sign that: the disk broke',
    );
  });

  it('vouches for nothing since: 3, for whoever holds it alone', async () => {
    expect(outcome(verify(await replaced(by.PUBLIC)))).toEqual([
      3,
      expect.stringMatching(
        /^checkpoint 17 of the database: it is signed by .* entry 16 says that a key was lost/,
      ),
    ]);
  });

  it('is the one in use, or nothing is replaced: 1', async () => {
    const other = rawPublicKey(generateKeyPairSync('ed25519').privateKey);
    for (const given of [by.PUBLIC, rawPublicKey(next)])
      expect(outcome(verify(await replaced(other), [], given))).toEqual([
        1,
        'the keys of the log: entry 16 names a key in place of one that was not in use',
      ]);
  });

  it('does not hide a history that was rewritten since it signed', async () => {
    const file = await replaced(by.PUBLIC);
    by.tamper(file, (db) => db.exec('DELETE FROM checkpoint WHERE size < 17'));
    const other = by.sign(by.key)({ size: 14, root: Buffer.alloc(32) });
    expect(outcome(verify(file, [other], rawPublicKey(next)))).toEqual([
      1,
      expect.stringContaining('the first 14 entries are not those it speaks of'),
    ]);
  });
});

describe('a tail that was dropped', () => {
  it('is missed by a checkpoint that the database keeps', () => {
    expect(outcome(verify(bench.changed((db) => by.dropTail(db, 15))))).toEqual([
      2,
      'checkpoint 16 of the database: it covers 16 entries, and only 15 are here: the newest were dropped, or this is an old copy',
    ]);
  });

  const cut = (signer = by.key) =>
    bench.changed((db) => {
      by.dropTail(db, 15);
      db.exec('DELETE FROM checkpoint WHERE size > 15');
      const tree = createTree(db);
      db.prepare('INSERT INTO checkpoint VALUES (15, ?)').run(by.sign(signer)(tree.head()));
    });

  it('with a smaller tree signed anew by whoever holds the key is missed by what was escrowed, and only by that', () => {
    expect(outcome(verify(cut()))).toEqual([0, null]);
    expect(outcome(verify(cut(), [bench.first]))).toEqual([0, null]);
    expect(outcome(verify(cut(), [bench.first, bench.second]))).toEqual([
      2,
      'the escrowed checkpoint of 16: it covers 16 entries, and only 15 are here: the newest were dropped, or this is an old copy',
    ]);
  });

  it('with a smaller tree signed by another key is signed by nobody known: 3', () => {
    const thief = generateKeyPairSync('ed25519').privateKey;
    expect(outcome(verify(cut(thief)))).toEqual([
      3,
      expect.stringContaining('checkpoint 15 of the database: it is signed by store.example+'),
    ]);
  });

  it('and grown again is another history to what was escrowed', async () => {
    const file = cut();
    const ledger = openLedger(file, { origin: by.LOG });
    for (const body of ['{"b":1}', '{"b":2}']) await ledger.store.configure(body);
    await ledger.store.checkpoint(by.sign(by.key));
    await ledger.close();
    expect(outcome(verify(file))).toEqual([0, null]);
    expect(outcome(verify(file, [bench.second]))).toEqual([
      1,
      'the escrowed checkpoint of 16: the first 16 entries are not those it speaks of: the history was rewritten',
    ]);
  });
});

describe('a restore that a person accepted', () => {
  const restored = async (signer: typeof by.key | null) => {
    const file = bench.changed((db) => {
      by.dropTail(db, 15);
      db.exec('DELETE FROM checkpoint WHERE size > 15');
    });
    const ledger = openLedger(file, { origin: by.LOG });
    const body = writeRestored({ reason: 'disk lost', doubt: 'd', given_up: [] });
    await ledger.store.notice({
      type: 'restored',
      actor: { type: 'person', reference: 'Practitioner/n1' },
      body,
    });
    if (signer !== null) await ledger.store.checkpoint(by.sign(signer, `${by.LOG}/restored-1`));
    await ledger.close();
    return file;
  };

  it('explains what was seen of the lost entries, and is told', async () => {
    const report = verify(await restored(by.key), [bench.second]);
    expect(outcome(report)).toEqual([0, null]);
    expect(report.remarks.join('\n')).toMatch(/entry 15 accepts a restore: .*disk lost/);
    expect(report.remarks).toContain('1 checkpoints are of entries that an accepted restore has given up');
  });

  it('explains nothing unless a signed checkpoint covers it', async () => {
    expect(outcome(verify(await restored(null), [bench.second]))).toEqual([
      2,
      'the log: entry 15 gives entries up, and no checkpoint covers it',
    ]);
  });

  it('is missed in a copy from before it', async () => {
    const file = await restored(by.key);
    const ledger = openLedger(file, { origin: by.LOG });
    const note = ledger.store.log.newestCheckpoint() ?? '';
    await ledger.close();
    expect(outcome(verify(bench.good, [note]))).toEqual([
      2,
      expect.stringContaining('after a restore that this copy knows nothing of'),
    ]);
  });
});

describe('the rest of the database', () => {
  test.each<[string, (db: Database.Database) => void, string]>([
    [
      'a checkpoint edited',
      (db) => db.exec(`UPDATE checkpoint SET note = replace(note, char(10) || '14', char(10) || '13')`),
      'checkpoint 14 of the database: it cannot be read',
    ],
    [
      'a signature edited',
      (db) =>
        db
          .prepare('UPDATE checkpoint SET note = ? WHERE size = 14')
          .run(bench.second.replace('\n16\n', '\n14\n')),
      'checkpoint 14 of the database: its signature does not fit its text',
    ],
    [
      'the tree edited',
      (db) => db.exec('UPDATE tree SET size = 15'),
      'the tree that is kept: it is not that of the entries',
    ],
    [
      'a part of the tree invented',
      (db) => db.exec(`INSERT INTO tile VALUES (8, 0, x'00')`),
      'the tree that is kept: it has parts that no entries give',
    ],
  ])('%s is found: 1', (_name, change, said) => {
    expect(outcome(verify(bench.changed(change)))).toEqual([1, said]);
  });

  test.each([
    [
      'dropped',
      'DROP TRIGGER ledger_keeps_words',
      'the trigger ledger_keeps_words: it is missing, or not as the release made it',
    ],
    [
      'added',
      'CREATE TRIGGER t AFTER INSERT ON ledger BEGIN SELECT 1; END',
      'the trigger t: the release made no such thing',
    ],
    ...['type', 'name', 'sql'].map((column): [string, string, string] => [
      `whose ${column} became a BLOB of the same text`,
      `PRAGMA writable_schema = ON;
       UPDATE sqlite_schema SET ${column} = CAST(${column} AS BLOB) WHERE name = 'ledger_keeps_words'`,
      'the trigger ledger_keeps_words: it is missing, or not as the release made it',
    ]),
  ])('a trigger %s is found: 1', (_name, sql, said) => {
    const file = bench.copy();
    const ledger = openLedger(file, { origin: by.LOG });
    ledger.db.unsafeMode(true);
    ledger.db.exec(sql);
    return ledger.close().then(() => expect(outcome(verify(file))).toEqual([1, said]));
  });

  it('without any checkpoint is not enough: 2', () => {
    const file = bench.changed((db) => db.exec('DELETE FROM checkpoint'));
    expect(outcome(verify(file))).toEqual([
      2,
      'the log: no checkpoint speaks of it: a history rewritten whole would look the same',
    ]);
    expect(outcome(verify(file, [bench.second]))).toEqual([0, null]);
  });

  test.each([
    ['no file', () => join(bench.folder, 'none.db'), 'there is no such file'],
    [
      'another kind of file',
      () => {
        const file = join(bench.folder, 'text.db');
        writeFileSync(file, 'a'.repeat(5000));
        return file;
      },
      'file is not a database',
    ],
    [
      'another database',
      () => {
        const file = join(bench.folder, 'empty.db');
        writeFileSync(file, '');
        return file;
      },
      'holds no ledger',
    ],
  ])('%s cannot be read: 4', (_name, make, said) => {
    expect(outcome(verify(make()))).toEqual([4, expect.stringContaining(said)]);
  });
});
