/** A ledger with all that verification looks at, and what somebody with the file at hand might do to it. */
import { generateKeyPairSync, type KeyObject } from 'node:crypto';
import Database from 'better-sqlite3';
import { entryHash, genesis, payloadCommitment } from '../../src/audit/chain.ts';
import { rawPublicKey, signCheckpoint } from '../../src/audit/checkpoint.ts';
import { writeFirstKey } from '../../src/audit/notices.ts';
import { createTree } from '../../src/store/sqlite/tree.ts';
import { incoming, openLedger } from '../store/ledger.ts';
import { level, placed, setUp, type Told, voided } from '../support/drain-script.ts';

export const LOG = 'store.example';
export const key: KeyObject = generateKeyPairSync('ed25519').privateKey;
export const PUBLIC = rawPublicKey(key);

const ONE = placed('08:00', { patient: { reference: 'Patient/p' } });
const TWO: Told = { ...placed('08:00', { patient: { reference: 'Patient/p' } }), key: 'placed-2' };
export const DRAIN = incoming(ONE, ONE).drain;
export const OTHER = incoming(TWO, TWO).drain;

export const sign =
  (signer: KeyObject, origin = LOG) =>
  (head: { size: number; root: Buffer }) =>
    signCheckpoint({ origin, ...head }, signer);

/** Places: 0 configuration, 1 key, 2 and 3 placements, then readings of both drains, a correction and a withdrawal. */
export async function makeLedger(file: string): Promise<readonly string[]> {
  const ledger = openLedger(file, { origin: LOG });
  const tell = async (told: Told, placement: Told): Promise<void> => {
    const [outcome] = await ledger.record([incoming(told, placement)]);
    if (outcome?.kind !== 'recorded') throw new Error(JSON.stringify(outcome));
  };
  await ledger.store.configure('{"a":1}');
  await ledger.store.notice({
    type: 'checkpoint-key',
    actor: { type: 'service' },
    body: writeFirstKey(PUBLIC),
  });
  for (const placement of [ONE, TWO]) await tell(placement, placement);
  await tell(setUp('08:00', 0), ONE);
  await tell({ ...setUp('08:00', 0), key: 'set-up-2' }, TWO);
  for (let n = 0; n < 4; n += 1) {
    await tell(level(`a-${n}`, `09:${n}0`, 60 + 10 * n), ONE);
    await tell({ ...level(`b-${n}`, `09:${n}5`, 30 + 10 * n), key: `b-${n}` }, TWO);
  }
  const first = await ledger.store.checkpoint(sign(key));
  await tell({ ...level('fixed', '10:30', 75), corrects: 'a-1', to: '09:10' } as Told, ONE);
  await tell(voided('gone', 'b-3'), TWO);
  const second = await ledger.store.checkpoint(sign(key));
  await ledger.close();
  if (first === null || second === null) throw new Error('no checkpoint');
  return [first, second];
}

/** Claims what is due on both drains, so that there are steps of deliveries; somebody reads one of them. */
export async function claimAndRead(file: string): Promise<void> {
  const ledger = openLedger(file, { origin: LOG });
  const claimed = await ledger.store.claim('ehr', 2_000_000_000_000, 2_000_000_000_500, 9, []);
  if (claimed.length !== 2) throw new Error('not both drains were claimed');
  const client = { type: 'client', client: 'ward-app', subject: null } as const;
  await ledger.store.access(client, [`{"drains":["${DRAIN}"],"kind":"access"}`]);
  await ledger.store.checkpoint(sign(key));
  await ledger.close();
}

interface Row {
  readonly log_index: number;
  readonly stream: string;
  readonly seq: number;
  readonly envelope: string;
  readonly hash: string;
}

/** Opens a copy as its owner might, with the triggers out of the way, and puts those back afterwards. */
export function tamper(file: string, change: (db: Database.Database) => void): void {
  const db = new Database(file);
  const triggers = db
    .prepare<[], { name: string; sql: string }>("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
    .all();
  db.pragma('foreign_keys = OFF');
  for (const { name } of triggers) db.exec(`DROP TRIGGER ${name}`);
  change(db);
  for (const { sql } of triggers) db.exec(sql);
  db.pragma('wal_checkpoint(TRUNCATE)');
  db.close();
}

const rowsOf = (db: Database.Database): Row[] =>
  db.prepare<[], Row>('SELECT * FROM ledger ORDER BY log_index').all();

/** Puts another body in, as one who knows how commitments are made. */
export function editBody(db: Database.Database, index: number, change: (body: string) => string): void {
  const row = db
    .prepare<[number], { salt: Buffer; body: string }>('SELECT salt, body FROM payload WHERE log_index = ?')
    .get(index);
  if (row === undefined) throw new Error('no such entry');
  const body = change(row.body);
  if (body === row.body) throw new Error('nothing was changed');
  db.prepare('UPDATE payload SET body = ? WHERE log_index = ?').run(body, index);
  editEnvelope(db, index, (said) => ({ ...said, payload: payloadCommitment(row.salt, body) }));
}

export function editEnvelope(
  db: Database.Database,
  index: number,
  change: (said: Record<string, unknown>) => object,
): void {
  const { envelope } = rowsOf(db)[index] as Row;
  const text = JSON.stringify(change(JSON.parse(envelope)));
  db.prepare('UPDATE ledger SET envelope = ? WHERE log_index = ?').run(text, index);
}

/** Makes every chain and the tree fit again, whatever was changed. */
export function rehash(db: Database.Database): void {
  const ends = new Map<string, string>();
  for (const { log_index, stream, envelope } of rowsOf(db)) {
    const prev = ends.get(stream) ?? genesis(LOG, stream);
    const text = JSON.stringify({ ...JSON.parse(envelope), prev });
    const hash = entryHash(text);
    db.prepare('UPDATE ledger SET envelope = ?, hash = ? WHERE log_index = ?').run(text, hash, log_index);
    ends.set(stream, hash);
  }
  regrow(db);
}

function regrow(db: Database.Database): void {
  db.exec('DELETE FROM tree; DELETE FROM tile');
  createTree(db).grow();
}

/** Removes the newest entries with all that hangs on them. */
export function dropTail(db: Database.Database, from: number): void {
  for (const table of ['payload', 'issued', 'identity', 'reissue', 'ledger'])
    db.prepare(`DELETE FROM ${table} WHERE log_index >= ?`).run(from);
  regrow(db);
}
