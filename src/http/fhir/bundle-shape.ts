/** What is read of a Bundle that is posted; its resources are read by their own schemas. */
import { z } from 'zod';

const entry = z.looseObject({
  fullUrl: z.string().optional(),
  resource: z.unknown().optional(),
  request: z.strictObject({
    method: z.string(),
    url: z.string().max(4000),
    ifNoneExist: z.string().optional(),
    ifMatch: z.string().optional(),
    ifNoneMatch: z.string().optional(),
    ifModifiedSince: z.string().optional(),
  }),
});
export const sentBundle = z.looseObject({
  resourceType: z.literal('Bundle'),
  type: z.enum(['batch', 'transaction']),
  entry: z.array(entry).optional(),
});

export type BundleEntry = z.infer<typeof entry>;
