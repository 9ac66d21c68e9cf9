/** Configuration from the environment: read once, all that is wrong told at once, no default secrets. */
import { isIP } from 'node:net';
import { z } from 'zod';
import { readKeyFile } from './audit/key-file.ts';
import { type AccessControl, DEVELOPMENT } from './auth/access-control.ts';
import { isLoopback } from './auth/loopback.ts';
import { type Files, fileReader, readFiles } from './configuration/files.ts';
import { inWords } from './configuration/json-file.ts';
import {
  ConfigError,
  type Environment,
  exportsFolderOf,
  issueTexts,
  type LedgerConfig,
  ledgerOf,
  ledgerSettings,
  path,
  tokenFaults,
  url,
} from './configuration/ledger.ts';
import { retentionDays } from './configuration/retention.ts';
import { ceilingS, targetAt } from './configuration/targets.ts';
import { categoryList, snomedSwitch } from './configuration/terminology.ts';
import { minutesOf, TIME_OF_DAY, timeOfDay } from './configuration/time-of-day.ts';
import type { Calendar, Terminology } from './domain/vocabulary/configuration.ts';
import { readWitnesses, type Vouching } from './proof.ts';
import { isZoneName } from './record/calendar.ts';

const addressList = z
  .string()
  .transform((text) => (text === '' ? [] : text.split(',')))
  .refine((each) => each.every((address) => isIP(address) !== 0), {
    error: 'is no list of IP addresses with commas between them',
  })
  .prefault('');

const environment = z.object({
  ...ledgerSettings,
  DRAINLEDGER_ACCESS: z.string().min(1).optional(),
  DRAINLEDGER_DEVELOPMENT: z.enum(['yes'], { error: "can only be 'yes'" }).optional(),
  DRAINLEDGER_HOST: z.string().min(1).default('127.0.0.1'),
  DRAINLEDGER_PORT: z
    .string()
    .regex(/^\d{1,5}$/, { error: 'is no port: 0 to 65535' })
    .transform(Number)
    .refine((port) => port <= 65_535, { error: 'is no port: 0 to 65535' })
    .default(8080),
  DRAINLEDGER_PUBLIC_URL: url.optional(),
  DRAINLEDGER_PROXIES: addressList,
  DRAINLEDGER_REQUESTS_PER_MINUTE: z
    .string()
    .regex(/^[1-9]\d{0,6}$/, { error: 'is no count of requests: 1 to 9999999' })
    .transform(Number)
    .default(6000),
  DRAINLEDGER_CANONICAL: url.default('http://example.org/drainledger'),
  DRAINLEDGER_EXPORTS: path,
  DRAINLEDGER_RETENTION_DAYS: retentionDays,
  DRAINLEDGER_ARCHIVE: path,
  DRAINLEDGER_PROFILES: path,
  DRAINLEDGER_RULES: path,
  DRAINLEDGER_HL7V2: path,
  DRAINLEDGER_MLLP: path,
  DRAINLEDGER_EHR_URL: url
    .refine((text) => !URL.canParse(text) || isLoopback(new URL(text).hostname), {
      error: 'is not on this machine: name it in the file of DRAINLEDGER_TARGETS, with how it is authorized',
    })
    .optional(),
  DRAINLEDGER_TARGETS: path,
  DRAINLEDGER_EHR_CEILING_S: z
    .string()
    .regex(/^\d{1,4}(\.\d)?$/, { error: 'is no number of seconds' })
    .transform(Number)
    .pipe(ceilingS)
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
  DRAINLEDGER_SNOMED: snomedSwitch,
  DRAINLEDGER_CATEGORIES: categoryList,
  DRAINLEDGER_LOG_LEVEL: z.enum(['fatal', 'error', 'warn', 'info', 'debug', 'silent']).default('info'),
});

export interface Config extends LedgerConfig, Vouching, Omit<Files, 'access'> {
  /** Who may come in. */
  readonly access: AccessControl;
  readonly host: string;
  readonly port: number;
  readonly publicUrl: string | undefined;
  /** Addresses of proxies that say for whom they ask. */
  readonly proxies: readonly string[];
  /** Of one client. */
  readonly requestsPerMinute: number;
  readonly canonical: string;
  /** Folder of bulk exports. */
  readonly exportsFolder: string;
  readonly calendar: Calendar;
  readonly terminology: Terminology;
  readonly logLevel: string;
}

/** Without a word about who may come in nobody is served; where everybody may, nobody comes from elsewhere. */
function accessFaults(env: Environment): readonly string[] {
  const {
    DRAINLEDGER_DEVELOPMENT: open,
    DRAINLEDGER_ACCESS: access,
    DRAINLEDGER_HOST: host = '127.0.0.1',
  } = env;
  if (open !== undefined && access !== undefined)
    return ['DRAINLEDGER_DEVELOPMENT stands beside DRAINLEDGER_ACCESS: set one of them'];
  if (open === undefined && access === undefined)
    return [
      'DRAINLEDGER_ACCESS is missing: send the path of the file that says who may come in, or DRAINLEDGER_DEVELOPMENT=yes on a machine of your own',
    ];
  if (open !== undefined && !isLoopback(host))
    return ['DRAINLEDGER_HOST must be a loopback address in development: 127.0.0.1, ::1 or localhost'];
  return [];
}

const targetFaults = ({ DRAINLEDGER_EHR_URL: url, DRAINLEDGER_TARGETS: file }: Environment): string[] =>
  url === undefined || file === undefined
    ? []
    : ['DRAINLEDGER_EHR_URL stands beside DRAINLEDGER_TARGETS: name all targets in the file'];

/** Settings that mean nothing without another. */
const NEEDS = [
  ['DRAINLEDGER_ESCROW_FILE', 'DRAINLEDGER_CHECKPOINT_KEY', 'what is not signed proves nothing to others'],
  ['DRAINLEDGER_ESCROW_URL', 'DRAINLEDGER_CHECKPOINT_KEY', 'what is not signed proves nothing to others'],
  ['DRAINLEDGER_ESCROW_TOKEN_FILE', 'DRAINLEDGER_ESCROW_URL', 'the token is shown to nobody else'],
  ['DRAINLEDGER_WITNESSES', 'DRAINLEDGER_CHECKPOINT_KEY', 'without it there is nothing to witness'],
  ['DRAINLEDGER_MLLP', 'DRAINLEDGER_HL7V2', 'without it no message can be read'],
] as const;

/** What is wrong with the variables, beside what they name. */
function variableFaults(env: Environment, error: z.ZodError | undefined): string[] {
  const unknown = Object.keys(env).filter(
    (name) => name.startsWith('DRAINLEDGER_') && !(name in environment.shape),
  );
  const lone = NEEDS.filter(([name, needed]) => env[name] !== undefined && env[needed] === undefined);
  return [
    ...unknown.map((name) => `${name} is no setting of this service: remove it`),
    ...lone.map(([name, needed, why]) => `${name} needs ${needed}: ${why}`),
    ...issueTexts(error, env),
    ...accessFaults(env),
    ...targetFaults(env),
    ...tokenFaults(env),
  ];
}

/** @throws {ConfigError} listing all faults, of files too, and unknown DRAINLEDGER_ names */
export function readConfig(env: Environment): Config {
  const parsed = environment.safeParse(env, { error: inWords });
  const faults = variableFaults(env, parsed.error);
  const fileOf = fileReader(env, faults);
  const files = readFiles(fileOf);
  const checkpointKey = fileOf('DRAINLEDGER_CHECKPOINT_KEY', readKeyFile);
  const witnesses = fileOf('DRAINLEDGER_WITNESSES', readWitnesses) ?? [];
  if (!parsed.success || faults.length > 0) throw new ConfigError(faults.join('\n'));
  const e = parsed.data;
  const { DRAINLEDGER_EHR_URL: url } = e;
  return {
    ...ledgerOf(e),
    ...files,
    checkpointKey,
    witnesses,
    // Without a file it was said that this is development, or it was refused above.
    access: files.access ?? DEVELOPMENT,
    host: e.DRAINLEDGER_HOST,
    port: e.DRAINLEDGER_PORT,
    publicUrl: e.DRAINLEDGER_PUBLIC_URL,
    proxies: e.DRAINLEDGER_PROXIES,
    requestsPerMinute: e.DRAINLEDGER_REQUESTS_PER_MINUTE,
    canonical: e.DRAINLEDGER_CANONICAL,
    exportsFolder: exportsFolderOf(e.DRAINLEDGER_DATABASE, e.DRAINLEDGER_EXPORTS),
    targets: url === undefined ? files.targets : [targetAt(url, e.DRAINLEDGER_EHR_CEILING_S)],
    calendar: {
      zone: e.DRAINLEDGER_ZONE,
      dayStart: e.DRAINLEDGER_DAY_START,
      shiftStarts: e.DRAINLEDGER_SHIFTS,
    },
    terminology: { snomed: e.DRAINLEDGER_SNOMED, categories: e.DRAINLEDGER_CATEGORIES },
    logLevel: e.DRAINLEDGER_LOG_LEVEL,
  };
}
