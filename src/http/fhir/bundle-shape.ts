/** What is read of a Bundle that is posted; its resources are read by their own schemas. */
import { z } from 'zod';
import { MEND } from '../../intake/native/quantity.ts';

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
export const sentBundle = z
  .looseObject({
    resourceType: z.literal('Bundle'),
    type: z.enum(['batch', 'transaction']),
    entry: z.array(entry).optional(),
  })
  .superRefine(({ entry: entries = [] }, context) => {
    const seen = new Set<string>();
    for (const [n, { fullUrl }] of entries.entries()) {
      if (fullUrl === undefined) continue;
      if (seen.has(fullUrl)) {
        const message = `names an earlier entry${MEND}give each entry a fullUrl of its own`;
        context.addIssue({ code: 'custom', path: ['entry', n, 'fullUrl'], message });
      }
      seen.add(fullUrl);
    }
  });

export type BundleEntry = z.infer<typeof entry>;
