/**
 * Cosignatures: that a witness saw this checkpoint, at what time, and that it continues all that the witness had seen of the
 * log before (C2SP tlog-cosignature, Ed25519).
 */
import {
  isSignature,
  keyIdOf,
  type Note,
  readVerifierKey,
  type VerifierKey,
  writeVerifierKey,
} from './checkpoint.ts';

const COSIGNATURE_V1 = 0x04;
const TIME_BYTES = 8;
/** The last that RFC 3339 can write, 9999-12-31T23:59:59Z: a later one is no time that a witness can have seen. */
const LATEST_S = 253_402_300_799n;

/** A public key of a witness, such as `witness.example+1a2b3c4d+BA…`; undefined where the text is none. */
export const readWitnessKey = (text: string): VerifierKey | undefined =>
  readVerifierKey(text, COSIGNATURE_V1);

export const writeWitnessKey = ({ name, key }: VerifierKey): string =>
  writeVerifierKey(name, key, COSIGNATURE_V1);

export interface Cosignature {
  /** When the witness says it was, s since the epoch. */
  readonly atS: number;
  /** As it stands in the note, with its line feed. */
  readonly line: string;
}

/** What this witness says of it: null where nothing, false where something claims to be its word and is not. */
export function cosignatureBy(note: Note, { name, key }: VerifierKey): Cosignature | null | false {
  const keyId = keyIdOf(name, key, COSIGNATURE_V1);
  const claimed = note.signatures.find((each) => each.name === name && each.keyId === keyId);
  if (claimed === undefined) return null;
  const { bytes } = claimed;
  if (bytes.length !== TIME_BYTES + 64) return false;
  const time = bytes.readBigUInt64BE();
  if (time > LATEST_S) return false;
  const signed = Buffer.from(`cosignature/v1\ntime ${time}\n${note.body}`);
  if (!isSignature(bytes.subarray(TIME_BYTES), signed, key)) return false;
  const base64 = Buffer.concat([Buffer.from(keyId, 'hex'), bytes]).toString('base64');
  return { atS: Number(time), line: `— ${name} ${base64}\n` };
}

/** What a witness said of a checkpoint. */
export interface WitnessWord {
  /** Its C2SP verifier key. */
  readonly witness: string;
  /** The signature as it stands in the note, with its line feed. */
  readonly line: string;
}
