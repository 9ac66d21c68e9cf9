/** What was charted, as it now stands, out of a row of the chart. */
import type { Decimal } from '../domain/numbers/decimal.ts';
import type { Content } from '../domain/vocabulary/entry.ts';
import type { RowAnswer } from './api.ts';

/** A type as it crosses the wire: decimals as numbers. */
type OnWire<T> = T extends Decimal
  ? number
  : T extends object
    ? { readonly [K in keyof T]: OnWire<T[K]> }
    : T;

export type WireContent = OnWire<Content>;

/** The row carries the fields of its kind beside it; the API reference says which. */
export function contentOf({ kind, effective_at, charted }: RowAnswer): WireContent {
  return { ...charted, kind, effective_at } as unknown as WireContent;
}
