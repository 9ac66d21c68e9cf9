/** What staff order to be done to deliveries: who, why, and which. */
import { z } from 'zod';
import type { ExactValue } from '../../json/exact-json.ts';
import type { Fault } from '../fault.ts';
import { author, instant, words } from './common-schemas.ts';
import { faultsOf } from './zod-faults.ts';

const byWhom = { author, reason: words(500).describe('Kept with what was done.') };
const drain = words(64).optional().describe('Only of this drain.');

export const order = z.strictObject(byWhom).meta({ id: 'Order' });
export const requeueOrder = z.strictObject({ ...byWhom, drain }).meta({ id: 'RequeueOrder' });
export const replayOrder = z
  .strictObject({
    ...byWhom,
    from: instant.describe('What was recorded at this time or later.'),
    to: instant.describe('And before this time.'),
    drain,
  })
  .meta({ id: 'ReplayOrder' });

export function readOrder<T>(
  schema: z.ZodType<T>,
  sent: ExactValue,
): { readonly order: T } | { readonly faults: readonly Fault[] } {
  const read = schema.safeParse(sent);
  return read.success ? { order: read.data } : { faults: faultsOf(read.error, sent) };
}
