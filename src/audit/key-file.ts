/** The private key that signs checkpoints, in a file that only its owner may read. */
import { createPrivateKey, generateKeyPairSync, type KeyObject } from 'node:crypto';
import { closeSync, fstatSync, fsyncSync, openSync, readFileSync, writeSync } from 'node:fs';

const OTHERS = 0o077;

/** @throws {Error} where the file cannot be read, others than its owner may read it, or it holds no Ed25519 key */
export function readKeyFile(file: string): KeyObject {
  const pem = readPrivately(file);
  try {
    const key = createPrivateKey(pem);
    if (key.asymmetricKeyType === 'ed25519') return key;
  } catch {
    // The cause might quote the key.
  }
  throw new Error(`${file} holds no Ed25519 private key in PEM: make one with 'cli checkpoint-key new FILE'`);
}

function readPrivately(file: string): string {
  let fd: number;
  try {
    fd = openSync(file, 'r');
  } catch (cause) {
    const mend = "give the path of a key made with 'cli checkpoint-key new FILE'";
    throw new Error(`cannot read the checkpoint key ${file}: ${String(cause)}; ${mend}`, { cause });
  }
  try {
    // Asked of the open file: its name may lead elsewhere a moment later.
    const mode = fstatSync(fd).mode & 0o777;
    if ((mode & OTHERS) !== 0) {
      throw new Error(
        `${file} has mode ${mode.toString(8).padStart(4, '0')}, so others than its owner may use the key: ` +
          `chmod 600 ${file}, and rotate the key if somebody may have read it`,
      );
    }
    return readFileSync(fd, 'utf8');
  } finally {
    closeSync(fd);
  }
}

/** Makes a new key in a new file of mode 0600. @throws {Error} where there is one already */
export function makeKeyFile(file: string): KeyObject {
  const { privateKey } = generateKeyPairSync('ed25519');
  const fd = openSync(file, 'wx', 0o600);
  try {
    writeSync(fd, privateKey.export({ format: 'pem', type: 'pkcs8' }).toString());
    fsyncSync(fd);
  } finally {
    closeSync(fd);
  }
  return privateKey;
}
