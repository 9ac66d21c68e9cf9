/**
 * What was signed of a log, and by whom: the part of the verifier of audit bundles that goes before the rest in the one file
 * of a bundle. It imports nothing but what Node brings.
 */
import { createHash, verify } from 'node:crypto';

/** What is wrong first, in words. */
export type Verdict = { readonly code: 0 | 1 | 2 | 3 | 4; readonly text: string };

/** @throws {Error} that carries the verdict, unless it is so */
export function must(isSo: boolean, text: string, code: Verdict['code'] = 1): asserts isSo {
  if (!isSo) throw Object.assign(new Error(text), { verdict: { code, text } });
}

export const newSum = () => createHash('sha256');
export const sha256 = (...parts: (string | Buffer)[]): Buffer =>
  parts.reduce((sum, part) => sum.update(part), newSum()).digest();
export const hex = (...parts: (string | Buffer)[]): string => sha256(...parts).toString('hex');
export const bytes = (base64: string): Buffer => Buffer.from(base64, 'base64');

/** C2SP tlog-checkpoint: origin, size, root; a blank line; signatures. */
export function readHead(text: string) {
  const [body = '', lines = ''] = text.split('\n\n');
  const [origin = '', size = '', root = ''] = body.split('\n');
  const signers = [...lines.matchAll(/^— (\S+) (\S+)$/gm)];
  const signatures = signers.map(([, name, signed = '']) => ({ name, signed: bytes(signed) }));
  must(/^\d+$/.test(size) && bytes(root).length === 32, 'checkpoint.txt is no checkpoint', 4);
  return { body: `${body}\n`, origin, size: Number(size), root: bytes(root), signatures };
}
export type Head = ReturnType<typeof readHead>;

/** An entry in which the log says something of itself. */
export interface Notice {
  readonly log_index: number;
  readonly type: unknown;
  readonly body: string;
}

/** Each handed over by the one before. One that replaces a lost one begins anew: the lost one vouches for nothing since. */
function keysOf(notices: readonly Notice[], log: string) {
  let [keys, told]: [Buffer[], string] = [[], ''];
  for (const { log_index, body } of notices.filter(({ type }) => type === 'checkpoint-key')) {
    const { key = '', lost, ...said } = JSON.parse(body) as Partial<Record<string, string>>;
    const old = keys.at(-1);
    const handed = `drainledger checkpoint key\n${log}\n${old?.toString('base64')}\n${key}\n`;
    const isHanded = old === undefined || isSigned(bytes(said.signature ?? ''), handed, old);
    const isDue = lost === undefined ? isHanded : old?.equals(bytes(lost)) === true;
    must(isDue, `entry ${log_index}: the key before it did not sign it, nor is that the one said to be lost`);
    keys = lost === undefined ? [...keys, bytes(key)] : [bytes(key)];
    if (lost !== undefined) told += `; entry ${log_index} says that a key was lost: ${said.reason}`;
  }
  return { keys, told };
}

/** The key given must be one that the log names; the newest has signed. @returns what is to be told beside */
export function checkSignature(
  head: Head,
  notices: readonly Notice[],
  log: string,
  given: string | null,
): string {
  const { keys, told } = keysOf(notices, log);
  const restores = notices.filter(({ type }) => type === 'restored').length;
  const origin = restores === 0 ? log : `${log}/restored-${restores}`;
  must(head.origin === origin, `the checkpoint is of ${head.origin}, and the entries are of ${origin}`);
  must(given !== null, 'no key was given: the signature was not checked', 3);
  const trusted = bytes((given ?? '').split('+').slice(2).join('+')).subarray(1);
  const isNamed = keys.some((key) => key.equals(trusted));
  must(isNamed, `the key that was given is not one that the log names${told}`, 3);
  const newest = keys.at(-1) as Buffer;
  const id = sha256(`${origin}\n`, Buffer.of(1), newest).subarray(0, 4);
  const found = head.signatures.find((each) => each.name === origin && each.signed.subarray(0, 4).equals(id));
  must(found !== undefined, 'the checkpoint is not signed by the key of the log', 3);
  must(isSigned(found.signed.subarray(4), head.body, newest), 'the signature does not fit the checkpoint');
  return told;
}

function isSigned(signature: Buffer, text: string, key: Buffer): boolean {
  const der = Buffer.concat([Buffer.from('302a300506032b6570032100', 'hex'), key]);
  return verify(null, Buffer.from(text), { key: der, format: 'der', type: 'spki' }, signature);
}

/** 9999-12-31T23:59:59Z: no later one can be written. */
const LATEST_S = 253_402_300_799n;

/** C2SP tlog-cosignature: key ID of kind 0x04, time of 8 bytes, signature. @returns what is to be told beside */
export function checkCosignature({ body, signatures }: Head, witness: string | null): string {
  if (witness === null) return '';
  const [by = '', keyId, ...rest] = witness.split('+');
  const key = bytes(rest.join('+'));
  const id = sha256(`${by}\n`, key).subarray(0, 4);
  const isKey = key[0] === 4 && key.length === 33 && id.toString('hex') === keyId;
  must(isKey, `${witness} is no public key of a witness`, 3);
  const found = signatures.find(({ name, signed }) => name === by && signed.subarray(0, 4).equals(id));
  must(found !== undefined, `${by} did not cosign the checkpoint`, 2);
  must(found.signed.length === 76, `what stands there as the word of ${by} is none`);
  const time = found.signed.readBigUInt64BE(4);
  must(time <= LATEST_S, `what stands there as the word of ${by} is of no time`);
  const isSo = isSigned(found.signed.subarray(12), `cosignature/v1\ntime ${time}\n${body}`, key.subarray(1));
  must(isSo, `the cosignature of ${by} does not fit the checkpoint`);
  return `; cosigned by ${by} at ${new Date(Number(time) * 1000).toISOString()}`;
}
