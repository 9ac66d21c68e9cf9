/** A search that was understood, whole: what is looked for and how it is to be shown. */
import type { Prefix, Range } from './date-range.ts';
import type { Followed, ResourceType, SearchParameter } from './resource-type.ts';

/** `system`: undefined for any, null for none; `code`: undefined for any of the system. */
export interface TokenValue {
  readonly system: string | null | undefined;
  readonly code: string | undefined;
}

export interface DateValue {
  readonly prefix: Prefix;
  readonly range: Range;
}

export interface QuantityValue {
  readonly prefix: Prefix;
  readonly number: number;
  /** What the digits imply, half of the last one to each side. */
  readonly range: Range;
  /** Undefined: any. */
  readonly system: string | undefined;
  readonly unit: string | undefined;
}

/** One parameter; several of them all have to hold, of the values in one any. */
export type Criterion = { readonly parameter: SearchParameter } & (
  | { readonly by: 'token'; readonly not: boolean; readonly values: readonly TokenValue[] }
  /** References as a resource may hold them: relative, or a URL. */
  | { readonly by: 'reference'; readonly values: readonly string[] }
  | { readonly by: 'identifier'; readonly values: readonly TokenValue[] }
  /** Beginnings of texts, in lower case. */
  | { readonly by: 'string'; readonly values: readonly string[] }
  | { readonly by: 'date'; readonly values: readonly DateValue[] }
  | { readonly by: 'quantity'; readonly values: readonly QuantityValue[] }
  | {
      readonly by: 'coded-quantity';
      readonly values: readonly { readonly code: TokenValue; readonly quantity: QuantityValue }[];
    }
  | { readonly by: 'missing'; readonly missing: boolean }
);

export interface SortKey {
  readonly name: string;
  readonly descending: boolean;
}

export const SUMMARIES = ['true', 'false', 'text', 'data', 'count'] as const;
export type Summary = (typeof SUMMARIES)[number];

/** Which elements are shown. */
export interface View {
  readonly summary: Summary;
  /** Null: all. */
  readonly elements: readonly string[] | null;
}

export interface Query {
  readonly type: ResourceType;
  readonly criteria: readonly Criterion[];
  /** Empty: newest end of the effective time first. */
  readonly sort: readonly SortKey[];
  /** 0: only the total. */
  readonly count: number;
  readonly total: 'none' | 'accurate';
  readonly view: View;
  /** References to follow, and to follow back. */
  readonly includes: readonly Followed[];
  readonly revincludes: readonly Followed[];
  /** What of the request was used, to be shown in the self link. */
  readonly used: readonly Pair[];
  /** What was left out on the client's own wish (handling=lenient). */
  readonly ignored: readonly string[];
}

/** A parameter as it was sent. */
export type Pair = readonly [name: string, value: string];
