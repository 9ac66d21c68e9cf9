/** Versions of the configuration in the ledger: a stream of their own, under the same promises as every entry. */
import { createHash } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { StoreFailed } from '../../src/store/port.ts';
import { level, placed, setUp } from '../support/drain-script.ts';
import { incoming, ledgerForEach, rowsOf } from './ledger.ts';

const ONE = '{"rules":{"threshold":250.50}}';
const TWO = '{"rules":{"threshold":250.5}}';
const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const DRAIN = incoming(PLACED, PLACED).drain;

const ledger = ledgerForEach();

const rows = () => rowsOf(ledger.db);

const tell = async (...story: Parameters<typeof incoming>[0][]): Promise<void> => {
  for (const told of story) {
    const [outcome] = await ledger.record([incoming(told, PLACED)]);
    expect(outcome?.kind).toBe('recorded');
  }
};

describe('a version', () => {
  it('is written when the text differs from the newest, digits included, and only then', async () => {
    const first = await ledger.store.configure(ONE);
    expect(first).toMatchObject({ isNew: true, version: { seq: 1, body: ONE } });
    expect(await ledger.store.configure(ONE)).toEqual({ ...first, isNew: false });
    const second = await ledger.store.configure(TWO);
    expect(second).toMatchObject({ isNew: true, version: { seq: 2, body: TWO } });
    // What stood once before is a change all the same.
    const third = await ledger.store.configure(ONE);
    expect(third).toMatchObject({ isNew: true, version: { seq: 3, body: ONE } });
    expect(ledger.store.configurations()).toEqual([first.version, second.version, third.version]);
  });

  it('is still there when the ledger is opened again, and the same again adds nothing', async () => {
    const { version } = await ledger.store.configure(ONE);
    await ledger.reopen();
    expect(ledger.store.configurations()).toEqual([version]);
    expect(await ledger.store.configure(ONE)).toEqual({ version, isNew: false });
  });

  it('is said by the service, of the time at which it was recorded, and issues nothing', async () => {
    const before = Date.now();
    const { version } = await ledger.store.configure(ONE);
    const after = Date.now();
    const envelope = JSON.parse(rows()[0]?.envelope ?? '');
    expect(envelope).toMatchObject({
      v: 1,
      stream: 'configuration',
      seq: 1,
      type: 'configuration',
      actor: { type: 'service' },
      effective_at: version.recordedAt,
      recorded_at: version.recordedAt,
      supersedes: null,
    });
    expect(Date.parse(version.recordedAt)).toBeGreaterThanOrEqual(before);
    expect(Date.parse(version.recordedAt)).toBeLessThanOrEqual(after);
    expect(ledger.db.prepare('SELECT count(*) FROM issued').pluck().get()).toBe(0);
    expect(ledger.db.prepare('SELECT count(*) FROM lane').pluck().get()).toBe(0);
  });

  it('is never recorded before what is in the ledger already, though the clock may step back', async () => {
    const late = 2_000_000_000_000;
    await ledger.reopen({ now: () => late });
    await tell(PLACED);
    await ledger.reopen({ now: () => late - 3_600_000 });
    const { version } = await ledger.store.configure(ONE);
    expect(version.recordedAt).toBe('2033-05-18T03:33:20.000Z');
  });

  it('is chained: every hash can be worked out again from the stored bytes', async () => {
    await ledger.store.configure(ONE);
    await tell(PLACED);
    await ledger.store.configure(TWO);
    // FIPS 180-4, by Node's own createHash; the layout is what DEVELOPERS.md says of the ledger.
    const sha256 = (...parts: (string | Buffer)[]) =>
      parts.reduce((sum, part) => sum.update(part), createHash('sha256')).digest('hex');
    let before = sha256('genesisstore.exampleconfiguration');
    const versions = rows().filter(({ stream }) => stream === 'configuration');
    expect(versions).toHaveLength(2);
    for (const { envelope, hash, salt, body } of versions) {
      const said = JSON.parse(envelope);
      expect(said.prev).toBe(before);
      expect(said.payload).toBe(sha256(Buffer.of(2), salt, body));
      expect(said.issued).toBe(sha256(Buffer.of(4), salt));
      expect(hash).toBe(sha256(Buffer.of(3), envelope));
      before = hash;
    }
    expect(versions[0]?.salt).toHaveLength(16);
    expect(versions[0]?.salt).not.toEqual(versions[1]?.salt);
    expect(ledger.store.configurations().map(({ hash }) => hash)).toEqual(versions.map(({ hash }) => hash));
  });

  it('can be neither changed nor deleted', async () => {
    await ledger.store.configure(ONE);
    for (const table of ['ledger', 'payload']) {
      const where = 'WHERE log_index = 0';
      expect(() => ledger.db.exec(`DELETE FROM ${table} ${where}`)).toThrow('append-only');
      expect(() => ledger.db.exec(`UPDATE ${table} SET log_index = 9 ${where}`)).toThrow('append-only');
    }
  });
});

describe('among entries of drains', () => {
  it('it takes its place in one log, also within one group', async () => {
    const all = [
      ledger.store.configure(ONE),
      ledger.record([incoming(PLACED, PLACED)]),
      ledger.store.configure(TWO),
      ledger.record([incoming(setUp('08:00', 0), PLACED)]),
      ledger.store.configure(TWO),
      ledger.record([incoming(level('a', '09:00', 60), PLACED)]),
    ];
    await Promise.all(all);
    expect(rows().map(({ log_index, stream, seq }) => [log_index, stream, seq])).toEqual([
      [0, 'configuration', 1],
      [1, DRAIN, 1],
      [2, 'configuration', 2],
      [3, DRAIN, 2],
      [4, DRAIN, 3],
    ]);
  });

  it('it is no drain to any reader', async () => {
    await ledger.store.configure(ONE);
    await tell(PLACED);
    expect(ledger.store.drains('', 9)).toEqual([DRAIN]);
    expect(ledger.store.entries('configuration', 0, 9)).toEqual([]);
    expect(ledger.store.books('configuration').size).toBe(0);
    expect(ledger.store.entries(DRAIN, 0, 9)).toHaveLength(1);
    expect([...ledger.store.books(DRAIN).keys()]).toEqual([DRAIN]);
  });

  it('nothing can be charted to it', async () => {
    await ledger.store.configure(ONE);
    const stray = { ...incoming(level('a', '09:00', 60), PLACED), drain: 'configuration' };
    expect(await ledger.record([stray])).toMatchObject([{ refused: { refused: 'no-such-drain' } }]);
    expect(rows()).toHaveLength(1);
  });

  it('it re-issues nothing', async () => {
    await ledger.store.configure(ONE);
    await tell(PLACED, setUp('08:00', 0), level('a', '09:00', 60));
    const issued = () => ledger.db.prepare('SELECT * FROM issued').all();
    const before = issued();
    await ledger.store.configure(TWO);
    expect(issued()).toEqual(before);
  });
});

describe('nothing is half written', () => {
  it.each(['ledger', 'payload'])(
    'when writing %s fails: nothing, and the next try succeeds',
    async (table) => {
      await ledger.store.configure(ONE);
      ledger.db.exec(
        `CREATE TRIGGER obstacle BEFORE INSERT ON ${table} BEGIN SELECT RAISE(ABORT, 'in the way'); END`,
      );
      await expect(ledger.store.configure(TWO)).rejects.toThrow(StoreFailed);
      expect(ledger.store.configurations()).toHaveLength(1);
      expect(rows()).toHaveLength(1);
      ledger.db.exec('DROP TRIGGER obstacle');
      expect(await ledger.store.configure(TWO)).toMatchObject({ isNew: true, version: { seq: 2 } });
      await tell(PLACED);
    },
  );
});
