/** What the API reference says of checkpoints and proofs. */
import { z } from 'zod';
import { MEND } from '../intake/native/quantity.ts';
import { problems } from './native/answers.ts';
import { type BodyDoc, json, type RouteDoc } from './route-doc.ts';

const size = z.number().int().nonnegative();
const count = z
  .string()
  .regex(/^(0|[1-9][0-9]{0,14})$/, { error: `is no count of entries${MEND}send digits, such as 1200` });

const overview = z
  .object({
    origin: z.string().describe('Name of the log, the first line of its checkpoints.'),
    size: size.describe('Entries in the log.'),
    checkpoint_size: size
      .nullable()
      .describe('Entries that the newest checkpoint covers; null before the first.'),
    keys: z
      .array(z.string())
      .describe(
        'Public keys that vouch for it, oldest first, as C2SP signed-note writes them; none from before a lost one was replaced.',
      ),
    told: z
      .array(
        z.object({
          to: z.string(),
          failing_since: z
            .string()
            .meta({ format: 'date-time' })
            .nullable()
            .describe('Null while it takes them.'),
        }),
      )
      .describe('Where checkpoints are told outside the database.'),
    witnesses: z
      .array(
        z.object({
          key: z.string().describe('As C2SP signed-note writes it.'),
          size: size.nullable().describe('Entries that the newest checkpoint it cosigned covers.'),
          at: z.string().meta({ format: 'date-time' }).nullable().describe('When it says that was.'),
        }),
      )
      .describe('Whose cosignatures are kept; null before the first.'),
  })
  .meta({ id: 'AuditOverview' });

const consistency = z
  .object({
    from: size,
    to: size,
    hashes: z.array(z.string()).describe('Base64, as RFC 9162, 2.1.4 orders them.'),
  })
  .meta({ id: 'ConsistencyProof' });

const text = (what: string): BodyDoc => ({ text: what, schema: z.string(), mediaType: 'text/plain' });
const NOT_YET = 'No checkpoint covers that yet.';

export const AUDIT_DOCS = {
  overview: {
    operation: 'audit',
    summary: 'How far the log goes, who signs it and who was told',
    access: 'audit',
    concernsNobody: true,
    answers: { 200: json('The log as it is.', overview), ...problems({}) },
  },
  checkpoint: {
    operation: 'auditCheckpoint',
    summary: 'The newest checkpoint: size and root of the tree over all entries, signed',
    access: 'audit',
    concernsNobody: true,
    about:
      'C2SP tlog-checkpoint, with the cosignatures there are of it. Keep it where nobody who can change the database can reach it.',
    query: {
      cosigned: z
        .literal('true', { error: `is not true${MEND}send true, or leave it out` })
        .meta({ description: 'The newest that a witness cosigned, which may be some minutes older.' }),
    },
    answers: {
      200: text('The checkpoint.'),
      ...problems({ 400: 'The query cannot be answered as it is.', 404: NOT_YET }),
    },
  },
  proof: {
    operation: 'auditProof',
    summary: 'Proof that an entry is in the log, whole in itself',
    access: 'audit',
    concernsNobody: true,
    about:
      'C2SP tlog-proof, to be verified offline. The leaf is SHA-256 of 0x00 and the 32 bytes of the entry’s hash.',
    query: { index: count.meta({ description: 'Required: place of the entry in the whole log, from 0.' }) },
    answers: {
      200: text('The proof, with the checkpoint that it leads to.'),
      ...problems({ 400: 'The query cannot be answered as it is.', 404: NOT_YET }),
    },
  },
  consistency: {
    operation: 'auditConsistency',
    summary: 'Proof that the log of one size is the beginning of that of another',
    access: 'audit',
    concernsNobody: true,
    query: {
      from: count.meta({ description: 'Required: entries in the older tree, at least 1.' }),
      to: count.meta({
        description: 'Entries in the newer tree. Default: those that the newest checkpoint covers.',
      }),
    },
    answers: {
      200: json('The proof.', consistency),
      ...problems({ 400: 'The query cannot be answered as it is.', 404: NOT_YET }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;
