/** Messages that were kept because nothing could be made of them, as answered. */
import { z } from 'zod';

const fault = z.object({
  pointer: z.string().describe('Segment, which of that name, field and component, such as OBX[2]-5.'),
  value: z.string().nullable().describe('What stands there, shortened.'),
  detail: z.string(),
  mend: z.string(),
});

const unmapped = z
  .object({
    sequence: z.number().int().positive(),
    recorded_at: z.string().meta({ format: 'date-time' }),
    kept: z.object({
      client: z.string(),
      over: z.enum(['mllp', 'http']),
      charset: z.string(),
      faults: z.array(fault).describe('Why nothing could be made of it when it came.'),
      message: z.string().describe('The message whole, as it was sent.'),
    }),
  })
  .meta({ id: 'UnmappedMessage' });

export const unmappedPage = z
  .object({
    unmapped: z.array(unmapped).describe('Those that wait, oldest first.'),
    next_after: z.number().int().nullable(),
  })
  .meta({ id: 'UnmappedMessages' });

export const dismissed = z.object({ dismissed: z.number().int() }).meta({ id: 'Dismissed' });
