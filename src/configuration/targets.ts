/** Targets of delivery as configuration: a JSON file without secrets, which are in files or in the environment. */
import { existsSync } from 'node:fs';
import { dirname, resolve } from 'node:path';
import { z } from 'zod';
import { isLoopback } from '../auth/loopback.ts';
import { POINT_OF_CARE_TYPES, PROFILES } from '../delivery/point-of-care.ts';
import {
  type Auth,
  type ConfiguredTarget,
  MODES,
  RESOLUTIONS,
  type TlsFiles,
  type Words,
} from '../delivery/target.ts';
import { HOUR_MS } from '../domain/numbers/units.ts';
import type { FactName } from '../domain/vocabulary/fact.ts';
import { FACT_CODES } from '../fhir/codes.ts';
import { BadFile, readJsonFile } from './json-file.ts';

const path = z.string().min(1).max(1000);
const seconds = (most: number) => {
  const error = `must be more than 0 and at most ${most} s`;
  return z.number().positive({ error }).max(most, { error });
};
export const ceilingS = seconds(3600);
const factName = z.custom<FactName>(
  (value) => typeof value === 'string' && Object.hasOwn(FACT_CODES, value),
  {
    error: 'names no fact that is issued',
  },
);

const auth = z.discriminatedUnion('type', [
  z.strictObject({ type: z.literal('none') }),
  z
    .strictObject({
      type: z.literal('bearer'),
      token_file: path.optional(),
      token_env: z
        .string()
        .regex(/^[A-Z][A-Z0-9_]*$/)
        .optional(),
    })
    .refine((each) => (each.token_file === undefined) !== (each.token_env === undefined), {
      error: 'needs token_file or token_env, and not both',
    }),
  z.strictObject({
    type: z.literal('smart'),
    client_id: z.string().min(1).max(500),
    scope: z.string().min(1).max(2000).optional(),
    key_file: path,
    other_key_files: z.array(path).max(5).default([]),
    jwks_url: z.url({ protocol: /^https$/ }).optional(),
  }),
]);

const coding = z.strictObject({
  system: z.url({ error: 'is no URI' }),
  code: z.string().min(1).max(100),
  display: z.string().min(1).max(200).optional(),
});
const codings = z.array(coding).min(1).max(10).optional();

const targetShape = z.strictObject({
  name: z.string().regex(/^[a-z0-9][a-z0-9-]{0,39}$/, { error: 'is no name: 1 to 40 of a-z 0-9 -' }),
  base_url: z
    .url({ protocol: /^https?$/, error: 'is no http(s) URL' })
    .transform((text) => text.replace(/\/+$/, ''))
    .refine((text) => !/[?#]|\/\/[^/]*@/.test(text), { error: 'must have no query, fragment or password' }),
  mode: z.enum(MODES).default('probe'),
  facts: z.array(factName).min(1).optional(),
  words: z.partialRecord(factName, z.strictObject({ categories: codings, codings })).default({}),
  profile: z.enum(PROFILES).default('base'),
  resource_types: z
    .array(z.string().regex(/^[A-Z][A-Za-z]+$/))
    .min(1)
    .optional(),
  patient: z.enum(RESOLUTIONS).default('as-given'),
  encounter: z.enum([...RESOLUTIONS, 'omit']).default('as-given'),
  timeout_s: seconds(600).default(30),
  ceiling_s: ceilingS.default(90),
  longest_pause_s: seconds(86_400).default(900),
  give_up_after_h: z.number().positive().max(8760).default(72),
  review_h: z.number().positive().max(8760).default(24),
  requests_at_once: z.int().min(1).max(64).default(8),
  resources_at_once: z.int().min(1).max(500).default(100),
  auth: auth.optional(),
  tls: z
    .strictObject({ cert_file: path.optional(), key_file: path.optional(), ca_file: path.optional() })
    .refine((each) => (each.cert_file === undefined) === (each.key_file === undefined), {
      error: 'needs cert_file and key_file, or neither',
    })
    .optional(),
});
type Written = z.infer<typeof targetShape>;

const fileShape = z.strictObject({ targets: z.array(targetShape).min(1).max(20) });

const FIRST_PAUSE_MS = 500;

/** @throws {BadFile} naming the file and everything that is wrong in it */
export function readTargets(file: string): readonly ConfiguredTarget[] {
  const { targets } = readJsonFile(file, fileShape, JSON.parse);
  const faults = targets.flatMap((each, n) =>
    faultsOf(each, targets, n).map((fault) => `/targets/${n}${fault}`),
  );
  const folder = dirname(resolve(file));
  const configured = targets.map((each) => configuredOf(each, (name) => resolve(folder, name)));
  faults.push(...configured.flatMap(missingFiles));
  if (faults.length > 0) throw new BadFile(`${file}: ${faults.join('; ')}`);
  return configured;
}

/** The one target that DRAINLEDGER_EHR_URL names: on this machine, and so without authorization. */
export function targetAt(baseUrl: string, ceiling_s: number): ConfiguredTarget {
  const written = { name: 'ehr', base_url: baseUrl, ceiling_s, timeout_s: Math.min(30, ceiling_s) };
  return configuredOf(targetShape.parse(written), (name) => name);
}

/** What only fields together, or targets together, show. */
function faultsOf(each: Written, all: readonly Written[], n: number): string[] {
  const faults: string[] = [];
  const isHere = isLoopback(new URL(each.base_url).hostname);
  const isOpen = !each.base_url.startsWith('https:') && !isHere;
  if (all.findIndex(({ name }) => name === each.name) < n) faults.push('/name is used twice');
  if (each.auth === undefined && each.tls?.cert_file === undefined && !isHere)
    faults.push('/auth is missing: say {"type": "none"} if the network alone keeps others out');
  if (isOpen && each.auth !== undefined && each.auth.type !== 'none')
    faults.push('/base_url must be https: a token would go over the network in the clear');
  const lacking = POINT_OF_CARE_TYPES.filter((type) => each.resource_types?.includes(type) === false);
  if (each.profile === 'pocd' && lacking.length > 0)
    faults.push(`/resource_types: profile pocd needs ${lacking.join(' and ')} among them`);
  if (each.timeout_s > each.ceiling_s) faults.push('/timeout_s must be at most ceiling_s');
  if ((each.patient === 'conditional' || each.encounter === 'conditional') && each.mode !== 'transaction')
    faults.push('/patient and /encounter: conditional needs mode transaction');
  return faults;
}

function configuredOf(each: Written, whole: (path: string) => string): ConfiguredTarget {
  return {
    target: {
      name: each.name,
      baseUrl: each.base_url,
      mode: each.mode,
      facts: each.facts === undefined ? null : new Set(each.facts),
      words: new Map(Object.entries(each.words) as [FactName, Words][]),
      profile: each.profile,
      types: each.resource_types === undefined ? null : new Set(each.resource_types),
      patient: each.patient,
      encounter: each.encounter,
      timeoutMs: each.timeout_s * 1000,
      requestCeilingMs: each.ceiling_s * 1000,
      backoff: { baseMs: FIRST_PAUSE_MS, capMs: each.longest_pause_s * 1000 },
      giveUpMs: each.give_up_after_h * HOUR_MS,
      reviewMs: each.review_h * HOUR_MS,
      mostAtOnce: each.requests_at_once,
      mostInBundle: each.resources_at_once,
    },
    auth: authOf(each, whole),
    tls: each.tls === undefined ? null : filesOf(each.tls, whole),
  };
}

function authOf(each: Written, whole: (path: string) => string): Auth {
  const { auth: written } = each;
  switch (written?.type) {
    case 'bearer': {
      const { token_file: file, token_env: name } = written;
      return {
        type: 'bearer',
        ...(file === undefined ? { tokenEnv: name ?? '' } : { tokenFile: whole(file) }),
      };
    }
    case 'smart':
      return {
        type: 'smart',
        clientId: written.client_id,
        scope: written.scope ?? scopeFor(each),
        keyFile: whole(written.key_file),
        otherKeyFiles: written.other_key_files.map(whole),
        jwksUrl: written.jwks_url ?? null,
      };
    default:
      return { type: 'none' };
  }
}

/** For what it may be sent and asked (SMART App Launch 2.2.0, scopes-and-launch-context.html); nothing is ever deleted there. */
function scopeFor({ resource_types, profile, patient, encounter }: Written): string {
  const parts = profile === 'pocd' ? ['DeviceMetric'] : [];
  const sent = resource_types ?? ['Observation', 'Provenance', 'Device', ...parts];
  return [
    ...sent.map((type) => `system/${type}.crus`),
    ...(patient !== 'as-given' ? ['system/Patient.rs'] : []),
    ...(encounter === 'look-up' || encounter === 'conditional' ? ['system/Encounter.rs'] : []),
  ].join(' ');
}

function filesOf(
  { cert_file, key_file, ca_file }: NonNullable<Written['tls']>,
  whole: (path: string) => string,
): TlsFiles {
  return {
    ...(cert_file === undefined ? {} : { certFile: whole(cert_file) }),
    ...(key_file === undefined ? {} : { keyFile: whole(key_file) }),
    ...(ca_file === undefined ? {} : { caFile: whole(ca_file) }),
  };
}

function missingFiles({ target, auth: how, tls }: ConfiguredTarget): string[] {
  const files = [
    ...(how.type === 'bearer' ? [how.tokenFile] : []),
    ...(how.type === 'smart' ? [how.keyFile, ...how.otherKeyFiles] : []),
    ...Object.values(tls ?? {}),
  ];
  return files.flatMap((file) =>
    file === undefined || existsSync(file) ? [] : [`${target.name}: there is no file ${file}`],
  );
}
