/** What was charted, as it now stands: the ledger's entries with corrections put in their place. */
import type { Decimal } from '../domain/decimal.ts';
import type { Content, EntryBody, Identifier } from '../domain/entry.ts';
import { getJson } from './api.ts';

/** A type as it crosses the wire: decimals as numbers. */
type OnWire<T> = T extends Decimal
  ? number
  : T extends object
    ? { readonly [K in keyof T]: OnWire<T[K]> }
    : T;

export type WireContent = OnWire<Content>;

export interface Charted {
  readonly content: WireContent;
  /** Why it was corrected, when it was. */
  readonly correction: string | null;
}

interface EntriesAnswer {
  readonly entries: readonly { readonly entry: string; readonly body: OnWire<EntryBody> }[];
  readonly next_after: number | null;
}

/** By the id of the entry that began each chain, as the chart names its rows. */
export async function readCharted(base: string, drain: string): Promise<ReadonlyMap<string, Charted>> {
  const charted = new Map<string, Charted>();
  const firstOf = new Map<string, string>();
  let after: number | null = 0;
  while (after !== null) {
    const page: EntriesAnswer = await getJson(`${base}/v1/drains/${drain}/entries?after=${after}`);
    for (const { entry, body } of page.entries) take(charted, firstOf, entry, body);
    after = page.next_after;
  }
  return charted;
}

function take(
  charted: Map<string, Charted>,
  firstOf: Map<string, string>,
  entry: string,
  body: OnWire<EntryBody>,
): void {
  const first = 'target' in body ? (firstOf.get(keyOf(body.target)) ?? entry) : entry;
  firstOf.set(keyOf(body.identifier), first);
  if (body.kind === 'entered-in-error') charted.delete(first);
  else if (body.kind === 'corrected') {
    charted.set(first, { content: body.replacement, correction: body.reason });
  } else charted.set(first, { content: body, correction: null });
}

const keyOf = ({ system, value }: Identifier): string => `${system}|${value}`;
