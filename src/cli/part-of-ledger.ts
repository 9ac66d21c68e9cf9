/** What a command is asked for that writes a part of a ledger: a drain, a patient or a time, and where to. */
import { parseInstant } from '../domain/numbers/instant.ts';
import type { EpochMs } from '../domain/numbers/units.ts';

export const PART_OPTIONS = {
  drain: { type: 'string' },
  patient: { type: 'string' },
  from: { type: 'string' },
  to: { type: 'string' },
  out: { type: 'string' },
} as const;
export type PartOptions = { readonly [key in keyof typeof PART_OPTIONS]?: string };

/** @throws {Error} where it is none, or lies on a day that does not exist */
export function momentIn(time: string): EpochMs {
  const moment = parseInstant(time);
  if (moment === undefined)
    throw new Error(`${time} is no moment with an offset: give RFC 3339, such as 2026-03-01T08:00:00Z`);
  return moment.ms;
}
