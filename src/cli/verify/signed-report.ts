/** What a verification came to, signed: so that somebody can show later that it was done, night by night, and what was said. */
import { type KeyObject, sign } from 'node:crypto';
import { keyIdOf, rawPublicKey, writeVerifierKey } from '../../audit/checkpoint.ts';

export interface Verified {
  /** Name of the log, as its public key says it. */
  readonly log: string;
  /** RFC 3339, UTC. */
  readonly at: string;
  /** What was verified. */
  readonly target: string;
  readonly code: number;
  /** As it was printed. */
  readonly text: string;
}

/** Of its own, so that no report is taken for a checkpoint of the log, whichever key signs it. */
const nameOf = (log: string): string => `${log}/verify`;

/** A C2SP signed-note with Ed25519; its text says what was verified, when, the exit code and all that was printed. */
export function signReport({ log, at, target, code, text }: Verified, key: KeyObject): string {
  const body = `verify report of ${log}\n${at}\n${target}\nexit ${code}\n${text.trimEnd()}\n`;
  const name = nameOf(log);
  const id = Buffer.from(keyIdOf(name, rawPublicKey(key)), 'hex');
  const signature = Buffer.concat([id, sign(null, Buffer.from(body), key)]).toString('base64');
  return `${body}\n— ${name} ${signature}\n`;
}

/** What reports that this key signed are checked with. */
export const reportKey = (log: string, key: KeyObject): string =>
  writeVerifierKey(nameOf(log), rawPublicKey(key));
