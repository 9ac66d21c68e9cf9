/** `checkpoint-key new|show|rotate`: the key that signs checkpoints. */
import type { KeyObject } from 'node:crypto';
import { parseArgs } from 'node:util';
import { rawPublicKey, writeVerifierKey } from '../audit/checkpoint.ts';
import { makeKeyFile, readKeyFile } from '../audit/key-file.ts';
import { readKeys, writeRotation } from '../audit/notices.ts';
import { readLedgerConfig } from '../configuration/ledger.ts';
import { standingOf } from '../proof.ts';
import { openLedger, personOf } from './open-ledger.ts';

const OPTIONS = { origin: { type: 'string' }, by: { type: 'string' } } as const;

/** @returns the exit code: 0, 1 where it cannot be done, or null where there is no such command */
export async function runCheckpointKey(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({ args: [...args], options: OPTIONS, allowPositionals: true });
  const [verb, file, next, ...more] = positionals;
  if (file === undefined || more.length > 0) return null;
  if (verb === 'new' && next === undefined) return show(makeKeyFile(file), values.origin);
  if (verb === 'show' && next === undefined) return show(readKeyFile(file), values.origin);
  if (verb === 'rotate' && next !== undefined) return rotate(file, next, values.by);
  return null;
}

/** The public key, to be given to auditors. */
function show(key: KeyObject, origin = process.env.DRAINLEDGER_ORIGIN): number {
  if (origin === undefined)
    throw new Error(
      'which log is it for? set DRAINLEDGER_ORIGIN, or give --origin; then: checkpoint-key show FILE',
    );
  process.stdout.write(`${writeVerifierKey(origin, rawPublicKey(key))}\n`);
  return 0;
}

async function rotate(oldFile: string, newFile: string, by: string | undefined): Promise<number> {
  const actor = personOf(by);
  const [old, next] = [readKeyFile(oldFile), rawPublicKey(readKeyFile(newFile))];
  const config = readLedgerConfig(process.env);
  const store = openLedger(config);
  try {
    const doubts = standingOf(store, config.origin, config.proof);
    if (doubts.length > 0)
      throw new Error(`the ledger is only read: ${doubts.map(({ why }) => why).join('; ')}`);
    const last = readKeys(config.origin, store.log.notices()).at(-1)?.key;
    if (last === undefined || !last.equals(rawPublicKey(old))) {
      const now = last === undefined ? 'no key yet' : writeVerifierKey(config.origin, last);
      throw new Error(`${oldFile} is not the key of this log, which has ${now}`);
    }
    const body = writeRotation(config.origin, old, next);
    const { logIndex } = await store.notice({ type: 'checkpoint-key', actor, body });
    process.stdout.write(
      `Entry ${logIndex} hands the log over to ${writeVerifierKey(config.origin, next)}\n` +
        `Set DRAINLEDGER_CHECKPOINT_KEY=${newFile}, start the service and give auditors the new key.\n`,
    );
    return 0;
  } finally {
    await store.close();
  }
}
