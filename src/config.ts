/** Configuration from the environment: read once, all that is wrong told at once, no default secrets. */
import { z } from 'zod';
import type { Calendar } from './domain/configuration.ts';
import type { ProofConfig } from './proof.ts';
import { isZoneName } from './record/calendar.ts';

const LOOPBACK = ['127.0.0.1', '::1', 'localhost'];
const url = z
  .url({ protocol: /^https?$/, error: 'is no http(s) URL' })
  .transform((text) => text.replace(/\/+$/, ''));
const TIME_OF_DAY = '([01][0-9]|2[0-3]):[0-5][0-9]';
const minutesOf = (text: string): number => Number(text.slice(0, 2)) * 60 + Number(text.slice(3));
/** Local time of day, as minutes since midnight. */
export const timeOfDay = z
  .string()
  .regex(new RegExp(`^${TIME_OF_DAY}$`), { error: 'is no local time of day, such as 07:00' })
  .transform(minutesOf);

const path = z.string().min(1).optional();

const environment = z.object({
  DRAINLEDGER_DATABASE: z.string({ error: 'is missing: send the path of the SQLite file' }).min(1),
  DRAINLEDGER_ORIGIN: z
    .string({ error: 'is missing: name this log for ever, such as drains.ward.example' })
    .regex(/^[A-Za-z0-9.\-/]{3,100}$/, { error: 'is no name: 3 to 100 of A-Z a-z 0-9 . - /' }),
  DRAINLEDGER_HOST: z
    .enum(LOOPBACK, { error: 'must be a loopback address: this version has no access control of its own' })
    .default('127.0.0.1'),
  DRAINLEDGER_PORT: z
    .string()
    .regex(/^\d{1,5}$/, { error: 'is no port: 0 to 65535' })
    .transform(Number)
    .refine((port) => port <= 65_535, { error: 'is no port: 0 to 65535' })
    .default(8080),
  DRAINLEDGER_PUBLIC_URL: url.optional(),
  DRAINLEDGER_CANONICAL: url.default('http://example.org/drainledger'),
  DRAINLEDGER_PROFILES: path,
  DRAINLEDGER_RULES: path,
  DRAINLEDGER_CHECKPOINT_KEY: path,
  DRAINLEDGER_HEAD_FILE: path,
  DRAINLEDGER_ESCROW_FILE: path,
  DRAINLEDGER_ESCROW_URL: url.optional(),
  DRAINLEDGER_EHR_URL: url.optional(),
  DRAINLEDGER_EHR_CEILING_S: z
    .string()
    .regex(/^\d{1,4}(\.\d)?$/, { error: 'is no number of seconds' })
    .transform(Number)
    .default(90),
  DRAINLEDGER_ZONE: z
    .string()
    .refine(isZoneName, { error: 'is no time zone of the IANA database, such as Europe/Berlin' })
    .default('UTC'),
  DRAINLEDGER_DAY_START: timeOfDay.prefault('07:00'),
  DRAINLEDGER_SHIFTS: z
    .string()
    .regex(new RegExp(`^${TIME_OF_DAY}(,${TIME_OF_DAY}){0,23}$`), {
      error: 'is no list of local times of day, such as 07:00,19:00',
    })
    .default('07:00,19:00')
    .transform((text) => text.split(',').map(minutesOf))
    .refine((starts) => starts.every((start, i) => i === 0 || start > (starts[i - 1] ?? 0)), {
      error: 'must rise: name each start once, the earliest in the day first',
    }),
  DRAINLEDGER_LOG_LEVEL: z.enum(['fatal', 'error', 'warn', 'info', 'debug', 'silent']).default('info'),
});

export interface Config {
  readonly database: string;
  readonly origin: string;
  readonly host: string;
  readonly port: number;
  readonly publicUrl: string | undefined;
  readonly canonical: string;
  readonly profilesFile: string | undefined;
  readonly rulesFile: string | undefined;
  readonly ehr: { readonly baseUrl: string; readonly requestCeilingMs: number } | null;
  readonly calendar: Calendar;
  readonly proof: ProofConfig;
  readonly logLevel: string;
}

/** Everything that is wrong with the environment, a line each. */
export class ConfigError extends Error {}

/** @throws {ConfigError} listing all faults and unknown DRAINLEDGER_ names */
export function readConfig(env: Readonly<Record<string, string | undefined>>): Config {
  const parsed = environment.safeParse(env);
  const unknown = Object.keys(env).filter(
    (name) => name.startsWith('DRAINLEDGER_') && !(name in environment.shape),
  );
  const faults = unknown.map((name) => `${name} is no setting of this service: remove it`);
  for (const name of ['DRAINLEDGER_ESCROW_FILE', 'DRAINLEDGER_ESCROW_URL']) {
    if (env[name] !== undefined && env.DRAINLEDGER_CHECKPOINT_KEY === undefined)
      faults.push(`${name} needs DRAINLEDGER_CHECKPOINT_KEY: what is not signed proves nothing to others`);
  }
  for (const issue of parsed.error?.issues ?? []) faults.push(`${issue.path.join('.')} ${issue.message}`);
  if (!parsed.success || faults.length > 0) throw new ConfigError(faults.join('\n'));
  const e = parsed.data;
  return {
    database: e.DRAINLEDGER_DATABASE,
    origin: e.DRAINLEDGER_ORIGIN,
    host: e.DRAINLEDGER_HOST,
    port: e.DRAINLEDGER_PORT,
    publicUrl: e.DRAINLEDGER_PUBLIC_URL,
    canonical: e.DRAINLEDGER_CANONICAL,
    profilesFile: e.DRAINLEDGER_PROFILES,
    rulesFile: e.DRAINLEDGER_RULES,
    ehr:
      e.DRAINLEDGER_EHR_URL === undefined
        ? null
        : { baseUrl: e.DRAINLEDGER_EHR_URL, requestCeilingMs: e.DRAINLEDGER_EHR_CEILING_S * 1000 },
    calendar: {
      zone: e.DRAINLEDGER_ZONE,
      dayStart: e.DRAINLEDGER_DAY_START,
      shiftStarts: e.DRAINLEDGER_SHIFTS,
    },
    proof: {
      keyFile: e.DRAINLEDGER_CHECKPOINT_KEY,
      headFile: e.DRAINLEDGER_HEAD_FILE,
      escrowFile: e.DRAINLEDGER_ESCROW_FILE,
      escrowUrl: e.DRAINLEDGER_ESCROW_URL,
    },
    logLevel: e.DRAINLEDGER_LOG_LEVEL,
  };
}
