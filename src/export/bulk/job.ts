/** A bulk export as it is kept: one file in the folder that holds what it wrote. */
import { z } from 'zod';

const output = z.strictObject({
  type: z.string(),
  /** Name of the file, in the folder of the export. */
  name: z.string().regex(/^[A-Za-z]+\.\d+\.ndjson$/),
  /** Resources in it. */
  count: z.number().int().positive(),
  /** Drains that they are about, so that whoever fetches it is noted as having seen these. */
  drains: z.array(z.string()),
});
export type Output = z.infer<typeof output>;

const moment = z.number().int();

const job = z.strictObject({
  v: z.literal(1),
  id: z.string().regex(/^[A-Za-z0-9_-]{22}$/),
  /** Who asked: nobody else is shown it. */
  client: z.string(),
  /** The URL that was asked. */
  request: z.string(),
  types: z.array(z.string()),
  of_patients: z.boolean(),
  since_ms: moment.nullable(),
  /** It holds all that was recorded up to this time and nothing later, ms since the epoch. */
  until_ms: moment,
  left_out: z.array(z.string()),
  state: z.discriminatedUnion('is', [
    z.strictObject({ is: z.literal('waiting') }),
    z.strictObject({ is: z.literal('complete'), at_ms: moment, outputs: z.array(output) }),
    z.strictObject({ is: z.literal('failed'), at_ms: moment, why: z.string() }),
  ]),
});
export type Job = z.infer<typeof job>;

export const writeJob = (written: Job): string => `${JSON.stringify(written)}\n`;

/** @returns undefined where it is none of ours, or of a release to come */
export function readJob(text: string): Job | undefined {
  try {
    return job.parse(JSON.parse(text));
  } catch {
    return undefined;
  }
}
