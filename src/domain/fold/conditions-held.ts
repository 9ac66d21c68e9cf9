/** What holds of a drain from one statement to the next: its unit, suction on or off, tube clamped or open. */

import type { Decimal } from '../numbers/decimal.ts';
import type { Reading, SetUp, UnitChanged } from '../vocabulary/entry.ts';
import type { Item } from './chains.ts';
import type { SuctionSource } from './negativity.ts';

/** A collection unit in use, and the statement that attached it. */
export interface AttachedUnit {
  readonly item: Item;
  readonly content: SetUp | UnitChanged;
}

export interface Conditions {
  readonly unit: AttachedUnit | null;
  readonly source: SuctionSource;
  readonly clamped: boolean;
  /** Suction as last ordered; an order stands until another is charted. */
  readonly ordered: Decimal | null;
  /** Whether a reading of the open tube has shown a swing before, or shows one now. */
  readonly swung: boolean;
}

export const AT_FIRST: Conditions = {
  unit: null,
  source: null,
  clamped: false,
  ordered: null,
  swung: false,
};

/** What holds after a statement that counts. A unit is attached by a set-up or a unit change. */
export function conditionsAfter(now: Conditions, item: Item): Conditions {
  const { content } = item;
  switch (content.kind) {
    case 'set-up':
      return {
        ...now,
        unit: { item, content },
        source: content.suction?.source ?? now.source,
        ordered: content.suction?.ordered_cmh2o ?? now.ordered,
      };
    case 'unit-changed':
      return { ...now, unit: { item, content } };
    case 'suction-changed':
      return { ...now, source: content.source, ordered: content.ordered_cmh2o ?? now.ordered };
    case 'clamped':
    case 'unclamped':
      return { ...now, clamped: content.kind === 'clamped' };
    case 'reading':
      return afterReading(now, content);
    default:
      return now;
  }
}

/** On or off and a clamp persist until changed, across units too; most readings change nothing. */
function afterReading(now: Conditions, { suction, clamped, tidaling }: Reading): Conditions {
  const source = suction?.source ?? now.source;
  const isClamped = clamped ?? now.clamped;
  const ordered = suction?.ordered_cmh2o ?? now.ordered;
  const swung = now.swung || (tidaling === 'present' && !isClamped);
  const isSame =
    source === now.source && isClamped === now.clamped && ordered === now.ordered && swung === now.swung;
  return isSame ? now : { unit: now.unit, source, clamped: isClamped, ordered, swung };
}
