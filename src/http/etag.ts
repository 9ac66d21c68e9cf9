/** Entity tags from what an answer depends on, so that an answer that is known already need not be worked out. */
import { createHash } from 'node:crypto';
import type { FastifyReply, FastifyRequest } from 'fastify';

/** @param parts all that the answer depends on, as JSON */
export function tagOf(parts: unknown): string {
  return `"${createHash('sha256').update(JSON.stringify(parts)).digest('base64url').slice(0, 27)}"`;
}

/** Documents an answer of 304. */
export const UNCHANGED = { text: 'What the client holds is what would be answered.' };

/** Whether If-None-Match names the tag (RFC 9110, 13.1.2: weak comparison). */
export const isNamed = (held: string, tag: string): boolean =>
  held.split(',').some((each) => each.trim() === '*' || each.trim().replace(/^W\//, '') === tag);

/** Sets the tag; whether the client holds that answer, so that 304 is all it needs. */
export function holds({ headers }: FastifyRequest, reply: FastifyReply, tag: string): boolean {
  reply.header('etag', tag);
  const held = headers['if-none-match'];
  return held !== undefined && isNamed(held, tag);
}
