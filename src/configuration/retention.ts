/** What a facility keeps of closed drains beside the ledger, from the environment. Without a word nothing is archived. */
import { z } from 'zod';
import { inWords } from './json-file.ts';
import { type Environment, issueTexts, path } from './ledger.ts';

/** Days since the newest entry of a closed drain: 1 to 99999. */
export const retentionDays = z
  .string()
  .regex(/^[1-9]\d{0,4}$/, { error: 'is no number of days: 1 to 99999' })
  .transform(Number)
  .optional();

const settings = z.object({
  DRAINLEDGER_RETENTION_DAYS: retentionDays,
  DRAINLEDGER_ARCHIVE: path,
});

export interface Retention {
  readonly days: number;
  /** Folder of the bundles. */
  readonly folder: string;
}

/** @throws {Error} where it is off, or not said whole */
export function readRetention(env: Environment): Retention {
  const parsed = settings.safeParse(env, { error: inWords });
  if (!parsed.success) throw new Error(issueTexts(parsed.error, env).join('\n'));
  const { DRAINLEDGER_RETENTION_DAYS: days, DRAINLEDGER_ARCHIVE: folder } = parsed.data;
  if (days === undefined)
    throw new Error(
      'DRAINLEDGER_RETENTION_DAYS is not set: nothing is archived; set the days that local policy says',
    );
  if (folder === undefined)
    throw new Error(
      'DRAINLEDGER_ARCHIVE is not set: say in which folder archives are kept, best on another volume',
    );
  return { days, folder };
}
