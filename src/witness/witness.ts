/**
 * A witness of a log. It runs elsewhere, as somebody else, once a minute: it takes the newest checkpoint, demands proof that
 * it continues the last one that it saw, and only then puts its own signature beside that of the log. Then no two readers
 * can be shown different histories, not even by whoever holds the database and the key of the log.
 *
 * This one file is all of it, to be run with Node 20 or later and nothing else: so it imports nothing, and says again what
 * it checks. Formats: C2SP signed-note, tlog-checkpoint and tlog-cosignature; RFC 9162, 2.1.4.2.
 *   node witness.mjs new KEY-FILE --name NAME
 *   node witness.mjs look URL --log-key PUBLIC-KEY --name NAME --key KEY-FILE --state FOLDER [--token-file FILE]
 *     exit: 0 cosigned, 1 another history, 2 entries are missing, 3 key unknown, 4 it could not be asked or told
 */
import {
  createHash,
  createPrivateKey,
  createPublicKey,
  generateKeyPairSync,
  type KeyObject,
  sign,
  verify,
} from 'node:crypto';
import {
  closeSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  openSync,
  readFileSync,
  renameSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';

type Code = 1 | 2 | 3 | 4;
type Stop = Error & { readonly exit?: Code };
const TIMEOUT_MS = 10_000;
/** Kinds of signature. */
const [ED25519, COSIGNATURE_V1] = [1, 4];
const SPKI = Buffer.from('302a300506032b6570032100', 'hex');

/** @throws {Error} that carries the exit code, unless it is so */
function must(isSo: boolean, text: string, code: Code): asserts isSo {
  if (!isSo) throw Object.assign(new Error(text), { exit: code });
}

const sha256 = (...parts: (string | Buffer)[]): Buffer =>
  parts.reduce((sum, part) => sum.update(part), createHash('sha256')).digest();
const keyId = (name: string, kind: number, key: Buffer): Buffer =>
  sha256(`${name}\n`, Buffer.of(kind), key).subarray(0, 4);

interface Checkpoint {
  readonly text: string;
  /** What is signed. */
  readonly body: string;
  readonly origin: string;
  readonly size: number;
  readonly root: Buffer;
}

/** Of the log whose key was given, or nothing is to be thought of it. */
function readCheckpoint(text: string, logKey: string): Checkpoint {
  const [body = '', lines = ''] = text.split('\n\n');
  const [origin = '', size = '', root = ''] = body.split('\n');
  must(/^\d{1,15}$/.test(size) && Buffer.from(root, 'base64').length === 32, 'what came is no checkpoint', 4);
  const [name = '', id = '', ...rest] = logKey.split('+');
  const key = Buffer.from(rest.join('+'), 'base64').subarray(1);
  must(keyId(name, ED25519, key).toString('hex') === id, `--log-key ${logKey} is no public key of a log`, 3);
  must(origin === name, `the log signs as ${origin}, and the key is of ${name}: ask what became of it`, 3);
  const due = keyId(name, ED25519, key);
  const signatures = [...lines.matchAll(/^— (\S+) (\S+)$/gm)].map(([, by, sig = '']) => ({
    by,
    bytes: Buffer.from(sig, 'base64'),
  }));
  const found = signatures.find(({ by, bytes }) => by === name && bytes.subarray(0, 4).equals(due));
  must(
    found !== undefined,
    'it is not signed by the key that was given: ask for the key that it was handed over to',
    3,
  );
  const spki = createPublicKey({ key: Buffer.concat([SPKI, key]), format: 'der', type: 'spki' });
  must(
    verify(null, Buffer.from(`${body}\n`), spki, found.bytes.subarray(4)),
    'the signature of the log does not fit',
    1,
  );
  return { text, body: `${body}\n`, origin, size: Number(size), root: Buffer.from(root, 'base64') };
}

/** RFC 9162, 2.1.4.2: whether the tree of `older` is the beginning of that of `newer`, which is larger. */
function isBeginning(older: Checkpoint, newer: Checkpoint, proof: readonly Buffer[]): boolean {
  const isPower = Number.isInteger(Math.log2(older.size));
  const [first, ...rest] = isPower ? [older.root, ...proof] : proof;
  if (first === undefined) return false;
  let [node, last, before, after] = [older.size - 1, newer.size - 1, first, first];
  const up = (): void => {
    [node, last] = [Math.floor(node / 2), Math.floor(last / 2)];
  };
  while (node % 2 === 1) up();
  for (const each of rest) {
    if (last === 0) return false;
    if (node % 2 === 1 || node === last) {
      before = sha256(Buffer.of(1), each, before);
      after = sha256(Buffer.of(1), each, after);
      while (node % 2 === 0 && node !== 0) up();
    } else after = sha256(Buffer.of(1), after, each);
    up();
  }
  return last === 0 && before.equals(older.root) && after.equals(newer.root);
}

interface Asked {
  readonly url: string;
  readonly tokenFile: string | undefined;
  readonly logKey: string;
  readonly name: string;
  readonly key: KeyObject;
  readonly state: string;
}

async function ask({ url, tokenFile }: Asked, path: string, body?: string): Promise<string> {
  const { protocol, hostname } = new URL(url);
  const isSafe = protocol === 'https:' || ['127.0.0.1', '[::1]', 'localhost'].includes(hostname);
  must(tokenFile === undefined || isSafe, `${url} is not https: the token would be shown to all`, 4);
  const answer = await fetch(`${url.replace(/\/+$/, '')}${path}`, {
    ...(body === undefined ? {} : { method: 'POST', body }),
    headers: {
      ...(tokenFile === undefined ? {} : { authorization: `Bearer ${readPrivate(tokenFile).trim()}` }),
      ...(body === undefined ? {} : { 'content-type': 'text/plain' }),
    },
    redirect: 'error',
    signal: AbortSignal.timeout(TIMEOUT_MS),
  });
  const text = await answer.text();
  const said = `${path} was answered with ${answer.status}: ${text.slice(0, 500)}`;
  must(answer.ok, said, answer.status === 409 ? 1 : 4);
  return text;
}

/** Compares, and demands proof of what is new. */
async function mustContinue(seen: Checkpoint | null, found: Checkpoint, asked: Asked): Promise<void> {
  if (seen === null) return;
  const { size, root } = seen;
  must(found.size >= size, `it has ${found.size} entries, and had ${size}: the newest are missing`, 2);
  const isSame = found.size === size;
  const path = `/audit/consistency?from=${size}&to=${found.size}`;
  const { hashes } = JSON.parse(isSame ? '{"hashes":[]}' : await ask(asked, path)) as { hashes: string[] };
  const proof = hashes.map((each) => Buffer.from(each, 'base64'));
  const continues = isSame ? found.root.equals(root) : isBeginning(seen, found, proof);
  must(continues, `its first ${size} entries are not those that were seen: this is another history`, 1);
}

/** What the witness says: as of now, this is the newest it has seen, and it continues all that it had seen. */
function cosign({ text, body, origin }: Checkpoint, name: string, key: KeyObject): string {
  const time = BigInt(Math.floor(Date.now() / 1000));
  const at = Buffer.alloc(8);
  at.writeBigUInt64BE(time);
  const signature = sign(null, Buffer.from(`cosignature/v1\ntime ${time}\n${body}`), key);
  const bytes = Buffer.concat([keyId(name, COSIGNATURE_V1, rawKey(key)), at, signature]);
  // Lines of other witnesses are left out: nobody vouches for those here.
  const own = text.split('\n').filter((line) => line.startsWith(`— ${origin} `));
  return `${body}\n${own.join('\n')}\n— ${name} ${bytes.toString('base64')}\n`;
}

const rawKey = (key: KeyObject): Buffer =>
  createPublicKey(key as never)
    .export({ format: 'der', type: 'spki' })
    .subarray(SPKI.length);

function readPrivate(file: string): string {
  must((statSync(file).mode & 0o077) === 0, `${file} can be read by others: chmod 600 ${file}`, 4);
  return readFileSync(file, 'utf8');
}

/** Durable, whole or not at all. */
function keep(folder: string, name: string, text: string): void {
  const fd = openSync(join(folder, `${name}.draft`), 'w', 0o600);
  writeFileSync(fd, text);
  fsyncSync(fd);
  closeSync(fd);
  renameSync(join(folder, `${name}.draft`), join(folder, name));
  const opened = openSync(folder, 'r');
  fsyncSync(opened);
  closeSync(opened);
}

const lastIn = (folder: string): string | null =>
  existsSync(join(folder, 'last')) ? readFileSync(join(folder, 'last'), 'utf8') : null;

async function look(asked: Asked): Promise<string> {
  const { logKey, name, key, state } = asked;
  mkdirSync(state, { recursive: true, mode: 0o700 });
  const last = lastIn(state);
  const seen = last === null ? null : readCheckpoint(last, logKey);
  const found = readCheckpoint(await ask(asked, '/audit/checkpoint'), logKey);
  await mustContinue(seen, found, asked).catch((error: Stop) => {
    // Both are signed by the log: together they are the evidence, which nothing here takes away again.
    if (error.exit === 1 || error.exit === 2)
      keep(state, `against-${found.size}-${Date.now()}`, `${last}\n${found.text}`);
    throw error;
  });
  // The same again where it could not be told the last time; on disk before anybody is told, so that none is ever taken back.
  const said = last !== null && seen?.size === found.size ? last : cosign(found, name, key);
  must(lastIn(state) === last, `another witness works in ${state}: give each a folder of its own`, 4);
  if (said !== last) keep(state, 'last', said);
  await ask(asked, '/audit/cosignatures', said);
  return `${found.size} entries of ${found.origin}`;
}

function makeKey(file: string, name: string): string {
  const { privateKey } = generateKeyPairSync('ed25519');
  writeFileSync(file, privateKey.export({ format: 'pem', type: 'pkcs8' }), { flag: 'wx', mode: 0o600 });
  const key = rawKey(privateKey);
  const id = keyId(name, COSIGNATURE_V1, key).toString('hex');
  return `${name}+${id}+${Buffer.concat([Buffer.of(COSIGNATURE_V1), key]).toString('base64')}`;
}

const OPTION = { type: 'string' } as const;
const OPTIONS = { 'log-key': OPTION, name: OPTION, key: OPTION, state: OPTION, 'token-file': OPTION };

async function run(args: string[]): Promise<string> {
  const { values, positionals } = parseArgs({ args, options: OPTIONS, allowPositionals: true });
  const [verb, at = '', ...more] = positionals;
  const { name = '', key, state, 'log-key': logKey } = values;
  const isAsked = /^[^\s+]{1,200}$/.test(name) && at !== '' && more.length === 0;
  if (isAsked && verb === 'new') return makeKey(at, name);
  const isWhole = isAsked && verb === 'look' && !!key && !!state && !!logKey;
  must(isWhole, 'asked wrongly: see the head of this file', 4);
  const told = { url: at, tokenFile: values['token-file'], logKey, name, state };
  return look({ ...told, key: createPrivateKey(readPrivate(key)) });
}

run(process.argv.slice(2)).then(
  (text) => console.log(text),
  (error: Stop) => {
    console.log(error.message);
    process.exitCode = error.exit ?? 4;
  },
);
