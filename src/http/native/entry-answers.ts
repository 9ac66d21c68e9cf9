/** Entries of the ledger as they are read. */
import { z } from 'zod';
import { identifier } from '../../intake/native/common-schemas.ts';
import { ALL_KINDS } from '../../intake/native/schemas.ts';

const time = z.string().meta({ format: 'date-time' });
const count = z.number().int().nonnegative();

export const storedFields = {
  sequence: count,
  log_index: count.describe('Place in the whole log, from 0: GET /audit/proof takes it.'),
  entry: z.string(),
  recorded_at: time,
  hash: z.string().describe('SHA-256 that chains the entry to the one before it.'),
  interim: z.literal(true).optional().describe('Kept, and not charted: between two readings that are.'),
  body: z
    .looseObject({ identifier, kind: z.enum([...ALL_KINDS, 'rerouted']), effective_at: time })
    .describe(
      'The entry as accepted: its fields as sent, every digit kept; converted quantities in the unit of their field and as sent in as_sent; the unit profile copied into unit_profile. `rerouted`: the service says which entries of a device count for the drain from then on (`entered`) and which no longer (`left`), and because of which entry.',
    ),
};
const stored = z
  .object({
    ...storedFields,
    body: storedFields.body
      .nullable()
      .describe(
        'The entry as accepted. Null to a client that is confined, where the drain was then linked to somebody else: what stands of it is in the chart.',
      ),
  })
  .meta({ id: 'StoredEntry' });
export const entriesPage = z
  .object({
    drain: z.string(),
    entries: z.array(stored),
    next_after: count.nullable().describe('Null on the last page.'),
  })
  .meta({ id: 'EntriesPage' });
