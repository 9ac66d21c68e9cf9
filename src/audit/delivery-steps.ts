/**
 * Steps of deliveries, as the log vouches for them: one entry for all that were written together. It lists a hash of
 * each, behind a salt of its own, so that whoever is shown the steps of one drain learns nothing of those of another.
 */
import { hash } from 'node:crypto';
import { writeCanonical } from '../json/canonical.ts';

/** Their stream in the ledger. */
export const DELIVERY = 'delivery';
export const STEPS_TYPE = 'delivery-steps';

/** A row of `delivery_event`, but for its number and salt. */
export interface StepRow {
  /** ms since the epoch. */
  readonly at_ms: number;
  readonly target: string;
  readonly drain: string | null;
  readonly log_index: number | null;
  readonly kind: string;
  readonly attempts: number;
  /** JSON text. */
  readonly actor: string | null;
  /** JSON text. */
  readonly detail: string | null;
}

/** The text of a step that is hashed: members in order of their names, no white space; what is JSON stands as it is. */
export function writeStep(row: StepRow): string {
  return (
    `{"actor":${row.actor},"at_ms":${row.at_ms},"attempts":${row.attempts},"detail":${row.detail},` +
    `"drain":${JSON.stringify(row.drain)},"kind":"${row.kind}","log_index":${row.log_index},` +
    `"target":${JSON.stringify(row.target)}}`
  );
}

const SALT_BYTES = 16;

/** SHA-256(0x06 || salt || text), hex. Its number is not in it: that is its place in the list of the entry. */
export function stepHash(salt: Uint8Array, text: string): string {
  const bytes = Buffer.allocUnsafe(1 + SALT_BYTES + Buffer.byteLength(text));
  bytes[0] = 0x06;
  bytes.set(salt, 1);
  bytes.write(text, 1 + SALT_BYTES);
  return hash('sha256', bytes, 'hex');
}

/** What an entry says of the steps that were written with it. */
export interface Steps {
  /** Number of the first; the others follow without a gap. */
  readonly first: number;
  /** Of each, {@link stepHash}. */
  readonly hashes: readonly string[];
}

export const writeSteps = ({ first, hashes }: Steps): string =>
  writeCanonical({ kind: STEPS_TYPE, first, hashes }, () => undefined);

/** Reads what {@link writeSteps} wrote. */
export const readSteps = (body: string): Steps => JSON.parse(body) as Steps;
