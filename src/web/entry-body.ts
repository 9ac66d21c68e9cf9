/** An entry as the service takes it, from what a form holds. */

import { authorOf } from './author.ts';
import { serviceNow } from './clock.ts';
import { type Json, writeJson } from './exact.ts';
import type { Identifier } from './row-answers.ts';
import { momentText } from './time.ts';

const PAGE_SYSTEM = 'urn:drainledger:page';

export interface EntryParts {
  /** The sender's own key: the same for every try to send this entry. */
  readonly id: string;
  readonly kind: string;
  readonly author: string;
  readonly zone: string;
  /** What is corrected; null for a new entry. */
  readonly target: Identifier | null;
}

/** @param content with the reason of a correction among its fields */
export function entryBody(
  { id, kind, author, zone, target }: EntryParts,
  content: Readonly<Record<string, Json>>,
): string {
  const signed = { identifier: { system: PAGE_SYSTEM, value: id }, author: authorOf(author) };
  if (target !== null) {
    const { reason = 'preview', ...replacement } = content;
    const effective_at = momentText(serviceNow(), zone);
    const { system, value } = target;
    const changed = { target: { system, value }, reason, replacement: { kind, ...replacement } };
    return writeJson({ kind: 'corrected', effective_at, ...signed, ...changed });
  }
  // A placement has a route of its own and names no kind.
  return writeJson({ ...(kind === 'placed' ? {} : { kind }), ...content, ...signed });
}
