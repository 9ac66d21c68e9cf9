/** Parts of queries that several routes share. */
import { z } from 'zod';
import { parseInstant } from '../../domain/numbers/instant.ts';
import type { EpochMs } from '../../domain/numbers/units.ts';
import { shown } from '../../intake/fault.ts';
import { MEND } from '../../intake/native/quantity.ts';
import { badQuery, type Problem } from '../problem.ts';

const LAST_YEAR = 2999;

const instant = z.string().refine((text) => parseInstant(text) !== undefined, {
  error: `is no moment with an offset${MEND}send RFC 3339, such as 2026-03-01T08:00:00Z, with + written %2B`,
  abort: true,
});

export const moment = instant.refine((text) => Number(text.slice(0, 4)) <= LAST_YEAR, {
  error: `lies beyond what is counted here${MEND}send a year up to ${LAST_YEAR}`,
});

export const asOf = instant.meta({
  format: 'date-time',
  description: 'Only what is charted up to this time. Default: all of it.',
});

export const msOf = (text: string | undefined): EpochMs | null =>
  text === undefined ? null : (parseInstant(text)?.ms ?? null);

export interface Between {
  readonly from: EpochMs | null;
  readonly to: EpochMs | null;
}

/** The time between two parameters, either of which may be left out. */
export function readBetween(query: { readonly from?: string; readonly to?: string }): Between | Problem {
  const [from, to] = [msOf(query.from), msOf(query.to)];
  return from === null || to === null || from < to
    ? { from, to }
    : badParameter('from', query.from, 'is not before to', 'send an earlier from, or a later to');
}

/** A whole number as a parameter, which is text. */
export const wholeNumber = (least: number, most: number) =>
  z
    .string()
    .refine((text) => /^\d{1,9}$/.test(text) && Number(text) >= least && Number(text) <= most, {
      error: `is no whole number from ${least} to ${most}${MEND}send one, such as ${Math.min(most, 24)}`,
    })
    .meta({ type: 'integer', minimum: least, maximum: most });

/** A list of words with commas between them. */
export const listOf = (known: readonly string[]) =>
  z.string().refine((text) => text.split(',').every((word) => known.includes(word)), {
    error: `names something that is not known here${MEND}send any of ${known.join(', ')}, with commas between`,
  });

/** One parameter that cannot be answered beside the others. */
export const badParameter = (
  name: string,
  value: string | undefined,
  detail: string,
  mend: string,
): Problem => badQuery([{ pointer: `?${name}`, value: shown(value), detail, mend }]);
