/** What a facility says of HL7 v2, in its file. */
import { readFileSync } from 'node:fs';
import { z } from 'zod';
import type { MessageMapping } from './domain/message-mapping.ts';
import { DEFAULT_OBSERVATIONS, DEFAULT_UNITS } from './intake/hl7v2/default-table.ts';
import { messageMapping } from './intake/hl7v2/mapping.ts';
import { isZoneName } from './record/calendar.ts';

const file = messageMapping.extend({
  zone: z.string().refine(isZoneName, { error: 'is no time zone of the IANA database' }).optional(),
});

/** The facility's rows, with those that ship after them. @throws {Error} naming the file and all that is wrong in it */
export function readMessageMapping(path: string): MessageMapping {
  let sent: unknown;
  try {
    sent = JSON.parse(readFileSync(path, 'utf8'));
  } catch (error) {
    throw new Error(`${path}: ${error instanceof Error ? error.message : String(error)}`);
  }
  const parsed = file.safeParse(sent);
  if (!parsed.success) throw new Error(`${path}: ${z.prettifyError(parsed.error)}`);
  const { observations, units, ...rest } = parsed.data;
  return {
    ...rest,
    observations: [...observations, ...DEFAULT_OBSERVATIONS],
    units: [...units, ...DEFAULT_UNITS],
  } as MessageMapping;
}
