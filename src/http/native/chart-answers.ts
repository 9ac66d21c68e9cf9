/** The chart of a drain as answered: what stands, and what was withdrawn. */
import { z } from 'zod';
import { derivation, drainFields } from './answers.ts';
import { chartRow, standingRow } from './row-answers.ts';

const time = z.string().meta({ format: 'date-time' });
const author = chartRow.shape.author;

const withdrawnRow = chartRow
  .pick({ entry: true, identifier: true, kind: true, effective_at: true, charted: true, note: true })
  .extend({
    author: author.describe('Who charted it at first.'),
    withdrawn_at: time.describe('When the service took the withdrawal.'),
    withdrawn_by: author.describe('Who withdrew it.'),
    reason: z.string().describe('Why it never was true.'),
  })
  .meta({
    id: 'WithdrawnRow',
    description: 'What was entered in error, as it last stood. Nothing follows from it.',
  });

export const chart = z
  .object({
    ...drainFields,
    derivation,
    rows: z.array(standingRow).describe('What stands, in order of time.'),
    withdrawn: z
      .array(withdrawnRow)
      .describe(
        "What was entered in error, in order of time: it counts nowhere. A client that is confined is told of it since the drain is taken for nobody else's.",
      ),
  })
  .meta({ id: 'Chart' });
