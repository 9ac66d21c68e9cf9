/**
 * One hash chain a stream. An entry's envelope names the hash before it and commits to its payload and to the
 * resources issued with it; both sit behind a salt, so that a lawful erasure leaves the chain whole and a proof of
 * one entry gives nothing away of another. The first byte keeps the kinds of hash apart.
 */
import { hash } from 'node:crypto';
import type { Author } from '../domain/vocabulary/entry.ts';

export interface Envelope {
  readonly v: 1;
  readonly origin: string;
  readonly stream: string;
  readonly seq: number;
  /** Hash of the entry before, hex; of seq 1, {@link genesis}. */
  readonly prev: string;
  readonly entry: string;
  readonly type: string;
  /** Who says so; of the configuration, the service itself; of an access, who asked. */
  readonly actor: Author | { readonly type: 'service' } | Client;
  readonly effective_at: string;
  readonly recorded_at: string;
  /** Which client sent it; left out of what no client sent. */
  readonly sent_by?: Sender | undefined;
  /** The identifier that a correction or retraction names. */
  readonly supersedes: string | null;
  readonly payload: string;
  readonly issued: string;
}

/** A client of the API; null: it was not known. */
export interface Client {
  readonly type: 'client';
  readonly client: string | null;
  /** Who works with the client, where its token says so. */
  readonly subject: string | null;
}

/** A client and its connection. */
export interface Sender extends Omit<Client, 'type'> {
  /** Names its token or key. */
  readonly credential: string | null;
  /** IP address. */
  readonly address: string;
  readonly request_id: string | null;
}

/** One-shot: about a third cheaper than a Hash object, and this stands on the path of every entry. */
const sha256 = (data: string | Uint8Array): string => hash('sha256', data, 'hex');

/** For what is hashed and forgotten: a buffer of its own for each costs as much as its hash. */
const SCRATCH = Buffer.allocUnsafeSlow(64 * 1024);
/** Bytes that one character of a text takes at most in UTF-8. */
const MOST_BYTES = 3;

/** Domain byte, salt and text in one buffer, which the next call writes over. */
function salted(domain: number, salt: Uint8Array, text: string): Buffer {
  const start = 1 + salt.length;
  const room = start + MOST_BYTES * text.length;
  const bytes = room <= SCRATCH.length ? SCRATCH : Buffer.allocUnsafe(room);
  bytes[0] = domain;
  bytes.set(salt, 1);
  return bytes.subarray(0, start + bytes.write(text, start));
}

const NO_SALT = new Uint8Array(0);

export function genesis(origin: string, stream: string): string {
  return sha256(`genesis${origin}${stream}`);
}

/** SHA-256(0x02 || salt || payload), hex. */
export function payloadCommitment(salt: Uint8Array, payload: string): string {
  return sha256(salted(0x02, salt, payload));
}

/** SHA-256(0x04 || salt || each drain's stored text with a line feed after it), hex; frames are in it by their hash. */
export function issuedCommitment(salt: Uint8Array, stored: readonly string[]): string {
  return sha256(salted(0x04, salt, stored.map((text) => `${text}\n`).join('')));
}

/** Name of a frame: the first 128 bits of SHA-256(0x05 || frame), hex. */
export function frameName(frame: string): string {
  return sha256(salted(0x05, NO_SALT, frame)).slice(0, 32);
}

/** The envelope's bytes: members in order of their names, no white space; `JSON.parse` reads them back. */
export function writeEnvelope(e: Envelope): string {
  return (
    `{"actor":${JSON.stringify(e.actor)},"effective_at":"${e.effective_at}","entry":"${e.entry}",` +
    `"issued":"${e.issued}","origin":"${e.origin}","payload":"${e.payload}","prev":"${e.prev}",` +
    `"recorded_at":"${e.recorded_at}",${sentBy(e.sent_by)}"seq":${e.seq},"stream":"${e.stream}",` +
    `"supersedes":${JSON.stringify(e.supersedes)},"type":"${e.type}","v":${e.v}}`
  );
}

/** Members in order of their names. */
function sentBy(sender: Sender | undefined): string {
  if (sender === undefined) return '';
  const { address, client, credential, request_id, subject } = sender;
  return `"sent_by":${JSON.stringify({ address, client, credential, request_id, subject })},`;
}

/** SHA-256(0x03 || envelope bytes), hex. */
export function entryHash(envelope: string): string {
  return sha256(salted(0x03, NO_SALT, envelope));
}
