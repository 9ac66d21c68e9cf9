/** `checkpoint-key new|show|rotate|replace`: the key that signs checkpoints. */
import type { KeyObject } from 'node:crypto';
import { parseArgs } from 'node:util';
import { type PublicKey, rawPublicKey, writeVerifierKey } from '../audit/checkpoint.ts';
import { makeKeyFile, readKeyFile } from '../audit/key-file.ts';
import { readKeys, writeReplacement, writeRotation } from '../audit/notices.ts';
import { readLedgerConfig } from '../configuration/ledger.ts';
import type { Author } from '../domain/vocabulary/entry.ts';
import { mustBeWhole, openLedger, personOf, wordsOf } from './open-ledger.ts';
import { print } from './output.ts';

const OPTIONS = {
  origin: { type: 'string' },
  by: { type: 'string' },
  reason: { type: 'string' },
} as const;

/** @returns the exit code: 0, 1 where it cannot be done, or null where there is no such command */
export async function runCheckpointKey(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({ args: [...args], options: OPTIONS, allowPositionals: true });
  const [verb, file, next, ...more] = positionals;
  if (file === undefined || more.length > 0) return null;
  if (verb === 'new' && next === undefined) return show(makeKeyFile(file), values.origin);
  if (verb === 'show' && next === undefined) return show(readKeyFile(file), values.origin);
  if (verb === 'rotate' && next !== undefined) return rotate(file, next, values.by);
  if (verb === 'replace' && next === undefined) return replace(file, values.by, values.reason);
  return null;
}

/** The public key, to be given to auditors. */
function show(key: KeyObject, origin = process.env.DRAINLEDGER_ORIGIN): number {
  if (origin === undefined)
    throw new Error(
      'which log is it for? set DRAINLEDGER_ORIGIN, or give --origin; then: checkpoint-key show FILE',
    );
  print(writeVerifierKey(origin, rawPublicKey(key)));
  return 0;
}

async function rotate(oldFile: string, newFile: string, by: string | undefined): Promise<number> {
  const [old, next] = [readKeyFile(oldFile), rawPublicKey(readKeyFile(newFile))];
  const said = await name(personOf(by), (log, last) => {
    if (last.equals(rawPublicKey(old))) return writeRotation(log, old, next);
    throw new Error(`${oldFile} is not the key of this log, which has ${writeVerifierKey(log, last)}`);
  });
  print(
    `Entry ${said.logIndex} hands the log over to ${writeVerifierKey(said.log, next)}\n` +
      `Set DRAINLEDGER_CHECKPOINT_KEY=${newFile}, start the service and give auditors the new key.`,
  );
  return 0;
}

/** Where the old key is lost: nobody can sign that it hands over, so auditors must be told by other means. */
async function replace(file: string, by: string | undefined, why: string | undefined): Promise<number> {
  const [actor, reason, next] = [personOf(by), wordsOf(why), rawPublicKey(readKeyFile(file))];
  const said = await name(actor, (_log, last) => {
    if (!last.equals(next)) return writeReplacement(last, next, reason);
    throw new Error(`${file} is the key of this log already: there is nothing to replace`);
  });
  print(
    `Entry ${said.logIndex} names ${writeVerifierKey(said.log, next)} in place of a key that is lost\n` +
      `Set DRAINLEDGER_CHECKPOINT_KEY=${file}, start the service and give auditors the new key by a way that they trust: ` +
      'with the lost one alone they are told from here on that the key is not known (3).',
  );
  return 0;
}

/** Says in the log which key signs it from now on. @param bodyOf what the entry says, by name and key of the log so far */
async function name(actor: Author, bodyOf: (log: string, last: PublicKey) => string) {
  const config = readLedgerConfig(process.env);
  const store = openLedger(config);
  try {
    mustBeWhole(store, config);
    const last = readKeys(config.origin, store.log.notices()).at(-1)?.key;
    if (last === undefined)
      throw new Error('the log has no key yet: it names the one that the service is first started with');
    const body = bodyOf(config.origin, last);
    const { logIndex } = await store.notice({ type: 'checkpoint-key', actor, body });
    return { logIndex, log: config.origin };
  } finally {
    await store.close();
  }
}
