/** A configuration as the ledger keeps it: one canonical JSON text, every digit kept, read back by the schemas of the files. */
import { z } from 'zod';
import { Decimal } from '../domain/numbers/decimal.ts';
import { parseInstant } from '../domain/numbers/instant.ts';
import {
  type Configuration,
  type ConfigurationInForce,
  USUAL_TERMINOLOGY,
} from '../domain/vocabulary/configuration.ts';
import type { MessageMapping } from '../domain/vocabulary/message-mapping.ts';
import type { RuleTable } from '../domain/vocabulary/rule.ts';
import type { UnitProfile } from '../domain/vocabulary/unit-profile.ts';
import { messageMapping } from '../intake/hl7v2/mapping.ts';
import { writeCanonical } from '../json/canonical.ts';
import { ExactNumber, type ExactValue, parseExactJson } from '../json/exact-json.ts';
import { timeOfDayText } from '../record/calendar.ts';
import {
  chamber,
  hours,
  leakDays,
  oneReading,
  pressure,
  rate,
  stopping,
  volume,
  words,
} from '../rules/row-schema.ts';
import type { StoredConfiguration } from '../store/port.ts';
import { profile } from './profiles.ts';
import { categories } from './terminology.ts';
import { timeOfDay } from './time-of-day.ts';

/** The same configuration gives the same text: profiles by id, as their order in a file says nothing. Rows keep theirs. */
export function writeConfiguration({ profiles, calendar, ...rest }: Configuration): string {
  const document = {
    ...rest,
    profiles: [...profiles.values()].sort((a, b) => (a.id < b.id ? -1 : 1)),
    calendar: {
      zone: calendar.zone,
      day_start: timeOfDayText(calendar.dayStart),
      shift_starts: calendar.shiftStarts.map(timeOfDayText),
    },
  };
  return writeCanonical(document, (value) => (value instanceof Decimal ? value.text : undefined));
}

/** Lengths of time in ms may have more digits than a charted number. */
const plainNumber = z
  .custom<Decimal | ExactNumber>((value) => value instanceof Decimal || value instanceof ExactNumber, {
    error: 'is not a number',
  })
  .transform(({ text }) => Number(text));

const settings = z.strictObject({
  version: z.string(),
  min_rate_interval_ms: plainNumber,
  max_gap_ms: plainNumber,
  max_weight_age_ms: z.strictObject({ adult: plainNumber, paediatric: plainNumber }),
  trailing_hours: z.array(plainNumber),
  sudden_jump: z.strictObject({ microlitres: plainNumber, within_ms: plainNumber }),
  double_entry_ms: plainNumber,
  clock_skew_ms: plainNumber,
  max_future_ms: plainNumber,
});

/** What a row has beside what a facility may say of its own. */
const ofAnyRow = {
  max_gap_h: hours,
  evidence: z.enum([
    'abstract or text seen',
    'secondary text',
    'from memory',
    'common practice, no source',
    'local',
  ]),
  changed: z.array(z.string()),
};
const fall = z.strictObject({
  ...oneReading,
  quantity: z.literal('unexplained-fall'),
  unit: z.literal('mL'),
});
const swing = z.strictObject({ ...oneReading, quantity: z.literal('swing-lost'), unit: z.literal('1') });
const rule = z.discriminatedUnion('quantity', [
  volume.extend(ofAnyRow),
  rate.extend(ofAnyRow),
  pressure.extend(ofAnyRow),
  chamber.extend(ofAnyRow),
  leakDays.extend(ofAnyRow),
  stopping.extend(ofAnyRow),
  fall.extend(ofAnyRow),
  swing.extend(ofAnyRow),
]);

// All versions are read at every start: a schema that comes to refuse what it took before stops the service there.
const document = z.strictObject({
  algorithm: z.string(),
  settings,
  profiles: z.array(profile),
  rules: z.strictObject({
    version: words,
    reading_every_h: z.strictObject({ adult: hours, paediatric: hours }),
    rules: z.array(rule),
  }),
  calendar: z
    .strictObject({ zone: z.string(), day_start: timeOfDay, shift_starts: z.array(timeOfDay) })
    .transform(({ zone, day_start, shift_starts }) => ({
      zone,
      dayStart: day_start,
      shiftStarts: shift_starts,
    })),
  // Versions before it was chosen had the usual one.
  terminology: z.strictObject({ snomed: z.boolean(), categories }).default(USUAL_TERMINOLOGY),
  hl7v2: messageMapping.optional(),
});

/**
 * Reads what {@link writeConfiguration} wrote, in the order of the ledger.
 * @throws {Error} naming the version that cannot be read, and why
 */
export function readConfigurations(stored: readonly StoredConfiguration[]): readonly ConfigurationInForce[] {
  return stored.map(readConfiguration);
}

function readConfiguration({ seq, recordedAt, body }: StoredConfiguration): ConfigurationInForce {
  const from = parseInstant(recordedAt);
  if (from === undefined) throw unreadable(seq, `it was recorded at '${recordedAt}', which is no time`);
  const parsed = document.safeParse(jsonOf(seq, body));
  if (!parsed.success) throw unreadable(seq, z.prettifyError(parsed.error));
  const { profiles, rules, hl7v2, ...rest } = parsed.data;
  return {
    ...rest,
    from: from.ms,
    version: String(seq),
    rules: rules as RuleTable,
    ...(hl7v2 === undefined ? {} : { hl7v2: hl7v2 as MessageMapping }),
    profiles: new Map((profiles as readonly UnitProfile[]).map((each) => [each.id, each])),
  };
}

function jsonOf(seq: number, body: string): ExactValue {
  try {
    return parseExactJson(body, (digits) => Decimal.parse(digits) ?? new ExactNumber(digits));
  } catch (error) {
    throw unreadable(seq, error instanceof Error ? error.message : String(error));
  }
}

const unreadable = (seq: number, why: string): Error =>
  new Error(
    `version ${seq} of the configuration in the ledger cannot be read: ${why}; ` +
      'start the release that wrote it, or restore the database from a backup',
  );
