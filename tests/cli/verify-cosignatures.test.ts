/** `verify --witness` on a ledger: what a witness said of its checkpoints is held against them. */
import { generateKeyPairSync, sign } from 'node:crypto';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { rawPublicKey, readCheckpoint } from '../../src/audit/checkpoint.ts';
import { writeWitnessKey } from '../../src/audit/cosignature.ts';
import { type Bench, openBench, outcome, verify } from './verified.ts';

const key = generateKeyPairSync('ed25519').privateKey;
const WITNESS = { name: 'witness.example', key: rawPublicKey(key) };
const KEY = writeWitnessKey(WITNESS);
let bench: Bench;
beforeAll(async () => {
  bench = await openBench();
});
afterAll(() => bench.remove());

/** By the words of C2SP tlog-cosignature. @param atS s since the epoch */
function lineOver(checkpoint: string, atS = 1_800_000_000): string {
  const time = Buffer.alloc(8);
  time.writeBigUInt64BE(BigInt(atS));
  const signed = `cosignature/v1\ntime ${atS}\n${readCheckpoint(checkpoint)?.body}`;
  const id = Buffer.from(KEY.split('+')[1] ?? '', 'hex');
  const bytes = Buffer.concat([id, time, sign(null, Buffer.from(signed), key)]);
  return `— witness.example ${bytes.toString('base64')}\n`;
}

/** With a row beside the checkpoint of 14 entries. */
const keeping = (line: string): string =>
  bench.changed((db) => db.prepare('INSERT INTO cosignature VALUES (?, 14, ?)').run(KEY, line));

test('that it cosigned is said, with the newest and its time', () => {
  const report = verify(keeping(lineOver(bench.first)), [], undefined, WITNESS);
  expect(outcome(report)).toEqual([0, null]);
  expect(report.remarks).toContain(
    'witness.example cosigned 1 of these, the newest of 14 entries at 2027-01-15T08:00:00.000Z',
  );
});

test('what the witness kept itself counts as well', () => {
  const own = `${bench.second}${lineOver(bench.second)}`;
  const report = verify(bench.good, [own], undefined, WITNESS);
  expect(outcome(report)).toEqual([0, null]);
  expect(report.remarks.join()).toContain('cosigned 1 of these, the newest of 16 entries');
});

test('a word on another checkpoint, or at another time, does not fit: 1', () => {
  const fault = 'checkpoint 14 of the database: the cosignature of witness.example does not fit it';
  expect(outcome(verify(keeping(lineOver(bench.second)), [], undefined, WITNESS))).toEqual([1, fault]);
  const bytes = Buffer.from(lineOver(bench.first).split(' ')[2] ?? '', 'base64');
  bytes.writeUInt8(1, 4);
  const later = `— witness.example ${bytes.toString('base64')}\n`;
  expect(outcome(verify(keeping(later), [], undefined, WITNESS))).toEqual([1, fault]);
  expect(outcome(verify(keeping('words'), [], undefined, WITNESS))).toEqual([1, fault]);
  // Nobody asked for the word of that witness.
  expect(outcome(verify(keeping('words')))).toEqual([0, null]);
});

test('where it said nothing it is told so: 2', () => {
  expect(outcome(verify(bench.good, [], undefined, WITNESS))).toEqual([
    2,
    'the log: witness.example cosigned no checkpoint of it',
  ]);
});
