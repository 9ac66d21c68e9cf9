/**
 * One access through the API, as an entry of the ledger: who asked for what, whom it was about, what was answered. A
 * write that was recorded has none of these: its own entry says who sent it (`sent_by` in its envelope). What showed
 * several patients is one entry for each, so that the proof of one patient's accesses says nothing of another.
 */
import { hash } from 'node:crypto';
import type { Reference } from '../domain/vocabulary/entry.ts';
import { writeCanonical } from '../json/canonical.ts';
import { RETENTION } from './archived.ts';
import type { Client, Sender } from './chain.ts';
import { DELIVERY } from './delivery-steps.ts';
import { ERASURE } from './erasure.ts';
import { HEARTBEAT } from './heartbeat.ts';

/** FHIR R4 restful-interaction, as far as there is something of it here. */
export type Interaction =
  | 'read'
  | 'vread'
  | 'update'
  | 'create'
  | 'search-type'
  | 'history-instance'
  | 'history-type'
  | 'transaction'
  | 'batch'
  | 'operation';

export interface Access extends Sender {
  readonly interaction: Interaction;
  /** Name of the operation in the API reference. */
  readonly operation: string;
  /** Method and URL as they came; of a search by form, the form on a line of its own. */
  readonly request: string;
  /** HTTP status of the answer. */
  readonly status: number;
  /** Whom it was about, as linked at that time; null: nobody, or nobody that is known. */
  readonly patient: Reference | null;
  /** Drains of that patient that it was about. */
  readonly drains: readonly string[];
}

/** Further accesses that differ in nothing but their time, told in one entry. */
export interface Repeats {
  readonly times: number;
  /** RFC 3339, UTC: when the first and the last of them was. */
  readonly from: string;
  readonly to: string;
}

export const writeAccess = (access: Access, repeats: Repeats | null): string =>
  writeCanonical({ kind: 'access', ...access, ...(repeats ?? {}) }, () => undefined);

export const clientOf = ({ client, subject }: Access): Client => ({ type: 'client', client, subject });

const PREFIX = 'access.';

/** One chain a client and person and day. @param recordedAt RFC 3339, UTC */
export function accessStream({ client, subject }: Client, recordedAt: string): string {
  const who = hash('sha256', JSON.stringify([client, subject]), 'hex').slice(0, 16);
  return `${PREFIX}${recordedAt.slice(0, 10)}.${who}`;
}

const isAccessStream = (stream: string): boolean => stream.startsWith(PREFIX);

const OWN: ReadonlySet<string> = new Set([
  'configuration',
  'log',
  'hl7v2',
  DELIVERY,
  ERASURE,
  HEARTBEAT,
  RETENTION,
]);

/** Streams that no sender writes to: of the service, of the log itself, of deliveries, and of who accessed what. */
export const isOwnStream = (stream: string): boolean => OWN.has(stream) || isAccessStream(stream);
