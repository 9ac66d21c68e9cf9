/** Items: each an entry with its drain, or two such entries that are taken together or not at all; a batch is a list of them. */
import { z } from 'zod';
import type { EntryBody, Identifier } from '../../domain/vocabulary/entry.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import type { Fault } from '../fault.ts';
import { identifier } from './common-schemas.ts';
import { MEND } from './quantity.ts';
import { type Profiles, type Read, readEntry, readPlacement } from './read-entry.ts';
import { faultsOf } from './zod-faults.ts';

const MOST_ITEMS = 500;
const MOST_TOGETHER = 2;

const drain = z.union([z.string().min(1).max(64), identifier], {
  error: `names no drain${MEND}send its id, the identifier of its placement, or a device in its place`,
});
const withDrain = {
  type: 'object',
  properties: {
    drain: {
      anyOf: [{ type: 'string' }, { $ref: '#/components/schemas/Identifier' }],
      description:
        'Id of the drain, or the identifier that it was placed under; a placement has none. What names a device may leave it out.',
    },
    kind: { type: 'string' },
  },
  required: ['kind'],
  description: "An Entry with one more field, the drain it is about; or a Placement with kind 'placed'.",
};
const together = {
  type: 'object',
  properties: { together: { type: 'array', items: withDrain, minItems: 1, maxItems: MOST_TOGETHER } },
  required: ['together'],
  additionalProperties: false,
  description: 'Entries of the two drains of one double-chamber unit: all are written or none.',
};

/** Items are read one by one, so that a bad one harms no other. */
export const batchBody = z
  .strictObject(
    {
      entries: z
        .array(z.unknown().meta({ anyOf: [withDrain, together] }))
        .min(1)
        .max(MOST_ITEMS),
    },
    { error: `is no batch${MEND}send an object with the list: {"entries":[…]}` },
  )
  .meta({ id: 'Batch' });

const togetherItem = z.strictObject({ together: z.array(z.unknown()).min(1).max(MOST_TOGETHER) });

export interface ItemEntry {
  /** Its id, or the identifier of its placement; null where the device that the body names says which. */
  readonly drain: string | Identifier | null;
  readonly body: EntryBody;
  /** What was sent, without the drain: the same as if it had been posted to the drain. */
  readonly sent: ExactValue;
}

type Faulty = { readonly faults: readonly Fault[] };

export function readBatch(value: ExactValue): { readonly items: readonly ExactValue[] } | Faulty {
  const read = batchBody.safeParse(value);
  return read.success
    ? { items: read.data.entries as ExactValue[] }
    : { faults: faultsOf(read.error, value) };
}

/** What one item holds, or all that is wrong with it; pointers lead into the item. */
export function readItem(
  item: ExactValue,
  profiles: Profiles,
): { readonly unit: readonly ItemEntry[] } | Faulty {
  if (!isObject(item) || !('together' in item)) return unitOf([readOne(item, '', profiles)]);
  const read = togetherItem.safeParse(item);
  if (!read.success) return { faults: faultsOf(read.error, item) };
  const members = read.data.together as ExactValue[];
  return unitOf(members.map((member, n) => readOne(member, togetherPointer(n), profiles)));
}

export const togetherPointer = (n: number): string => `/together/${n}`;

function unitOf(reads: readonly (ItemEntry | Faulty)[]): { readonly unit: readonly ItemEntry[] } | Faulty {
  const faults = reads.flatMap((read) => ('faults' in read ? read.faults : []));
  if (faults.length > 0) return { faults };
  return { unit: reads.flatMap((read) => ('faults' in read ? [] : [read])) };
}

function readOne(value: ExactValue, pointer: string, profiles: Profiles): ItemEntry | Faulty {
  const within = (faults: readonly Fault[]): Faulty => ({
    faults: faults.map((fault) => ({ ...fault, pointer: `${pointer}${fault.pointer}` })),
  });
  if (isObject(value) && value.kind === 'placed') {
    const { kind: _kind, ...sent } = value;
    const read = readPlacement(sent);
    return 'faults' in read ? within(read.faults) : { drain: read.body.identifier, body: read.body, sent };
  }
  const isOfDevice = isObject(value) && 'device' in value && !('drain' in value);
  const object = z.looseObject({ drain: isOfDevice ? drain.optional() : drain }).safeParse(value);
  if (!object.success) return within(faultsOf(object.error, value));
  const { drain: _drain, ...sent } = value as Record<string, ExactValue>;
  const read: Read = readEntry(sent, profiles);
  if ('faults' in read) return within(read.faults);
  return { drain: object.data.drain ?? null, body: read.body, sent };
}

function isObject(value: ExactValue): value is Record<string, ExactValue> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}
