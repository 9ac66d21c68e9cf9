/** `keys add|list|revoke`: the file of client keys, of which it holds only hashes. */
import { existsSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { keyFile, newKey, type StoredKey, wordsOfNoUse } from '../auth/keys.ts';
import type { Bounds } from '../auth/principal.ts';
import { isOfOnePatient } from '../auth/scope.ts';
import { readJsonFile } from '../configuration/json-file.ts';
import { writeWhole } from '../escrow/durable-file.ts';
import { print } from './output.ts';

type Keys = readonly StoredKey[];

/** @returns the exit code, or null where there is no such command @throws {Error} in words */
export async function runKeys(args: readonly string[]): Promise<number | null> {
  const [verb, ...rest] = args;
  const { values, positionals } = parseArgs({
    args: [...rest],
    allowPositionals: true,
    options: {
      file: { type: 'string' },
      scope: { type: 'string' },
      patient: { type: 'string' },
      drain: { type: 'string' },
    },
  });
  const [name, ...more] = positionals;
  if (values.file === undefined) throw new Error('say which file: --file FILE');
  if (verb !== 'add' && !existsSync(values.file)) throw new Error(`there is no file ${values.file}`);
  const keys = read(values.file);
  if (verb === 'list' && name === undefined) return list(keys);
  if (name === undefined || more.length > 0) return null;
  if (verb === 'revoke') return revoke(values.file, keys, name);
  return verb === 'add' ? add(values.file, keys, name, values) : null;
}

function read(file: string): Keys {
  return existsSync(file) ? readJsonFile(file, keyFile, JSON.parse).keys : [];
}

/** Durable: a revocation that was answered for must not be undone by a power cut. */
async function write(file: string, keys: Keys): Promise<void> {
  await writeWhole(file, `${JSON.stringify({ keys }, null, 2)}\n`).catch((cause: NodeJS.ErrnoException) => {
    throw new Error(
      `${file} cannot be written (${cause.code}): its folder must be there and yours to write`,
      {
        cause,
      },
    );
  });
}

interface Asked {
  readonly scope?: string | undefined;
  readonly patient?: string | undefined;
  readonly drain?: string | undefined;
}

async function add(
  file: string,
  keys: Keys,
  client: string,
  { scope = '', patient, drain }: Asked,
): Promise<number> {
  const useless = wordsOfNoUse(scope);
  if (scope.trim() === '' || useless.length > 0)
    throw new Error(
      `--scope ${useless.join(' ')} grants nothing: send words such as system/Observation.crus, drainledger/operate`,
    );
  if (patient !== undefined && !/^Patient\/[A-Za-z0-9\-.]{1,64}$/.test(patient))
    throw new Error(`--patient ${patient} is no reference: send Patient/id`);
  if (patient === undefined && isOfOnePatient(scope))
    throw new Error(
      '--scope patient/… is for one patient: name whom, --patient Patient/id, or send system/…',
    );
  const bounds: Bounds = {
    patient: patient === undefined ? null : { reference: patient },
    drain: drain ?? null,
  };
  const made = newKey(client, scope, bounds, new Date().toISOString());
  await write(file, [...keys, made.stored]);
  print(made.key);
  process.stderr.write('Shown this once: only its hash is kept.\n');
  return 0;
}

async function revoke(file: string, keys: Keys, id: string): Promise<number> {
  const key = keys.find((each) => each.id === id);
  if (key === undefined) throw new Error(`${file} has no key ${id}: see keys list`);
  const revoked_at = key.revoked_at ?? new Date().toISOString();
  await write(
    file,
    keys.map((each) => (each === key ? { ...each, revoked_at } : each)),
  );
  return 0;
}

function list(keys: Keys): number {
  for (const { id, client, scope, created_at, revoked_at, patient, drain } of keys) {
    const bound = [patient?.reference, drain].filter((each) => each !== null && each !== undefined).join(' ');
    const state = revoked_at === null ? 'in use' : `revoked ${revoked_at}`;
    print(`${id}  ${client}  ${scope}  ${bound || 'not confined'}  ${created_at}  ${state}`);
  }
  return 0;
}
