/** Checkpoints and keys: against the example that C2SP publishes, and against texts that are not quite right. */
import { createPrivateKey, generateKeyPairSync, hash } from 'node:crypto';
import { chmodSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import {
  isSignature,
  logOf,
  originOf,
  rawPublicKey,
  readCheckpoint,
  readVerifierKey,
  restoresIn,
  signCheckpoint,
  signerOf,
  writeProof,
  writeVerifierKey,
} from '../../src/audit/checkpoint.ts';
import { makeKeyFile, readKeyFile } from '../../src/audit/key-file.ts';

const folder = mkdtempSync(join(tmpdir(), 'checkpoint-test-'));
afterAll(() => rmSync(folder, { recursive: true }));

// C2SP signed-note v1.0.0, 'Verifier keys', example.
const EXAMPLE_KEY = 'example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k';
const EXAMPLE_TEXT = 'This is an example message.\n';
const EXAMPLE_SIGNATURE =
  'Uw2QOkn8srV1yJGh2VYRlL1Tnagv1YEq6TfXppzi2ONncAlTgK7Ztg1ERYNZXsYjOBH3mFXmRKuwHjG1Yu72IneyaQM=';

// RFC 8032, 7.1, TEST 1: the secret key, in the PKCS #8 wrapping of RFC 8410, section 7.
const SEED = '9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60';
const PUBLIC = 'd75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a';
const privateKey = createPrivateKey({
  key: Buffer.from(`302e020100300506032b657004220420${SEED}`, 'hex'),
  format: 'der',
  type: 'pkcs8',
});
const root = hash('sha256', 'root', 'buffer');
const log = { origin: 'drains.ward.example', size: 12_345, root };

describe('the published example', () => {
  test('its key is read and written, and verifies its note', () => {
    const read = readVerifierKey(EXAMPLE_KEY);
    expect(read?.name).toBe('example.com/foo');
    expect(writeVerifierKey('example.com/foo', read?.key ?? Buffer.alloc(0))).toBe(EXAMPLE_KEY);
    const bytes = Buffer.from(EXAMPLE_SIGNATURE, 'base64');
    expect(bytes.subarray(0, 4).toString('hex')).toBe('530d903a');
    expect(isSignature(bytes.subarray(4), Buffer.from(EXAMPLE_TEXT), read?.key ?? Buffer.alloc(0))).toBe(
      true,
    );
    expect(isSignature(bytes.subarray(4), Buffer.from('other\n'), read?.key ?? Buffer.alloc(0))).toBe(false);
  });

  test.each([
    ['another key id', EXAMPLE_KEY.replace('530d903a', '530d903b')],
    ['another name', EXAMPLE_KEY.replace('foo', 'fob')],
    ['a key that is cut', EXAMPLE_KEY.slice(0, -4)],
    ['another algorithm', EXAMPLE_KEY.replace('+Aeky', '+Beky')],
    ['no key at all', 'example.com/foo'],
  ])('with %s it is none', (_name, text) => {
    expect(readVerifierKey(text)).toBeUndefined();
  });
});

describe('a checkpoint', () => {
  const note = signCheckpoint(log, privateKey);
  const key = rawPublicKey(privateKey);

  test('is three lines, a blank one and a signature, and comes back', () => {
    expect(key.toString('hex')).toBe(PUBLIC);
    const lines = note.split('\n');
    expect(lines.slice(0, 4)).toEqual(['drains.ward.example', '12345', root.toString('base64'), '']);
    expect(lines[4]).toMatch(/^— drains\.ward\.example [A-Za-z0-9+/]+=*$/);
    expect(lines.slice(5)).toEqual(['']);
    const read = readCheckpoint(note);
    expect(read).toMatchObject(log);
    expect(read && signerOf(read, [key])).toEqual(key);
  });

  test('is signed by nobody whom the reader knows not, and not by whom it only claims', () => {
    const other = rawPublicKey(generateKeyPairSync('ed25519').privateKey);
    const read = readCheckpoint(note);
    if (read === undefined) throw new Error('unreadable');
    expect(signerOf(read, [other])).toBeNull();
    expect(signerOf(read, [other, key])).toEqual(key);
    const changed = readCheckpoint(note.replace('12345', '12346'));
    expect(changed && signerOf(changed, [key])).toBe(false);
    const renamed = readCheckpoint(note.replace('drains.ward.example\n', 'drains.other.example\n'));
    expect(renamed && signerOf(renamed, [key])).toBeNull();
  });

  test('may be unsigned, and may be cosigned by others', () => {
    const [body = ''] = note.split('\n\n');
    expect(readCheckpoint(`${body}\n`)).toMatchObject({ ...log, signatures: [] });
    const cosigned = readCheckpoint(`${note}— witness.example bWlySWtsag==\n`);
    expect(cosigned && signerOf(cosigned, [key])).toEqual(key);
  });

  test.each([
    ['a leading zero', note.replace('12345', '012345')],
    ['a negative size', note.replace('12345', '-1')],
    ['a root that is cut', note.replace(root.toString('base64'), root.toString('base64').slice(4))],
    ['a line too many', note.replace('\n\n', '\nextension\n\n')],
    ['a line end too few', note.slice(0, -1)],
    ['a carriage return', note.replaceAll('\n', '\r\n')],
    ['a space in its name', note.replace('drains.ward', 'drains ward')],
    ['nothing in it', ''],
  ])('with %s it is none', (_name, text) => {
    expect(readCheckpoint(text)).toBeUndefined();
  });

  test('of a log that was restored is under another name', () => {
    expect(originOf('a.example', 0)).toBe('a.example');
    expect(originOf('a.example', 2)).toBe('a.example/restored-2');
    expect(restoresIn('a.example', 'a.example')).toBe(0);
    expect(restoresIn('a.example/restored-2', 'a.example')).toBe(2);
    for (const other of ['b.example', 'a.example/restored-0', 'a.example/restored-', 'a.example/x', 'a'])
      expect(restoresIn(other, 'a.example')).toBeUndefined();
    for (const log of ['a.example', 'a.example/restored-files'])
      for (const restores of [0, 1, 20]) expect(logOf(originOf(log, restores))).toBe(log);
  });

  test('ends a proof as C2SP tlog-proof lays it out', () => {
    expect(writeProof(3, [root, root], note)).toBe(
      `c2sp.org/tlog-proof@v1\nindex 3\n${root.toString('base64')}\n${root.toString('base64')}\n\n${note}`,
    );
    expect(writeProof(0, [], note)).toBe(`c2sp.org/tlog-proof@v1\nindex 0\n\n${note}`);
  });
});

describe('a key file', () => {
  test('is made for its owner alone, once, and read back', () => {
    const file = join(folder, 'made.pem');
    const made = makeKeyFile(file);
    expect(statSync(file).mode & 0o777).toBe(0o600);
    expect(rawPublicKey(readKeyFile(file))).toEqual(rawPublicKey(made));
    const before = readFileSync(file);
    expect(() => makeKeyFile(file)).toThrow('EEXIST');
    expect(readFileSync(file)).toEqual(before);
  });

  test.each([0o640, 0o604, 0o610, 0o602, 0o644])('of mode %o is refused', (mode) => {
    const file = join(folder, `mode-${mode}.pem`);
    makeKeyFile(file);
    chmodSync(file, mode);
    expect(() => readKeyFile(file)).toThrow(`has mode 0${mode.toString(8)}`);
    chmodSync(file, 0o400);
    expect(readKeyFile(file).asymmetricKeyType).toBe('ed25519');
  });

  test('that is missing, no key or another kind of key is refused, without quoting it', () => {
    expect(() => readKeyFile(join(folder, 'none.pem'))).toThrow('cannot read the checkpoint key');
    const file = join(folder, 'bad.pem');
    writeFileSync(file, 'secret words', { mode: 0o600 });
    expect(() => readKeyFile(file)).toThrow(/^(?!.*secret words).*holds no Ed25519 private key/);
    const rsa = generateKeyPairSync('ec', { namedCurve: 'P-256' }).privateKey;
    writeFileSync(file, rsa.export({ format: 'pem', type: 'pkcs8' }));
    expect(() => readKeyFile(file)).toThrow('holds no Ed25519 private key');
  });
});
