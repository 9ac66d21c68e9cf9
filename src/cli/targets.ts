/**
 * `targets check` asks each target what it can do and says what it would be sent; it sends nothing. `list` says how the
 * service fares with its targets, and `resume` has it try one at once.
 */
import { parseArgs } from 'node:util';
import { readConfig } from '../config.ts';
import { BadFile } from '../configuration/json-file.ts';
import { readTargets } from '../configuration/targets.ts';
import { readSigningKey } from '../delivery/auth/keys.ts';
import { openTarget } from '../delivery/open-target.ts';
import type { Profile } from '../delivery/point-of-care.ts';
import { fixedWay, probe, type Way } from '../delivery/probe.ts';
import type { ConfiguredTarget } from '../delivery/target.ts';
import { FACT_CODES } from '../fhir/codes.ts';
import { Refused, serviceAt } from './api.ts';
import { byWhom } from './deliveries.ts';
import { print } from './output.ts';

interface Status {
  readonly target: string;
  readonly state: string;
  readonly waiting: number;
  readonly rests_until: string | null;
}

/** @returns the exit code: 0, 1 where something is wrong, or null where there is no such command */
export async function runTargets(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({
    args: [...args],
    options: {
      url: { type: 'string' },
      'token-file': { type: 'string' },
      by: { type: 'string' },
      reason: { type: 'string' },
    },
    allowPositionals: true,
  });
  const [verb, name, ...more] = positionals;
  try {
    if (verb === 'check' && more.length === 0) return await check(name);
    if (verb === 'list' && name === undefined) return show(await serviceAt(values)('/targets'));
    if (verb === 'resume' && name !== undefined && more.length === 0)
      return show(await serviceAt(values)(`/targets/${name}/resume`, byWhom(values)));
    return null;
  } catch (error) {
    if (!(error instanceof Refused || error instanceof BadFile)) throw error;
    print(error.message);
    return 1;
  }
}

function show({ targets }: { readonly targets: readonly Status[] }): number {
  for (const { target, state, waiting, rests_until } of targets)
    print(`${target}  ${state}${rests_until === null ? '' : ` until ${rests_until}`}  ${waiting} waiting`);
  return 0;
}

/** @param file of targets; undefined: those of the environment that the service would start with */
async function check(file: string | undefined): Promise<number> {
  const configured = file === undefined ? readConfig(process.env).targets : readTargets(file);
  let bad = configured.length === 0 ? 1 : 0;
  if (bad > 0)
    print('No target is configured: set DRAINLEDGER_TARGETS or DRAINLEDGER_EHR_URL, or name a file.');
  for (const each of configured) if (!(await checkOne(each))) bad += 1;
  return bad > 0 ? 1 : 0;
}

async function checkOne(configured: ConfiguredTarget): Promise<boolean> {
  const { target } = configured;
  print(`${target.name}  ${target.baseUrl}`);
  const granted: string[] = [];
  const opened = openTarget(configured, {
    env: process.env,
    now: Date.now,
    onVerdict: () => undefined,
    onScope: (scopes) => granted.push(scopes),
  });
  try {
    await checkAuthorization(configured, await opened.authorizer.header());
    for (const scopes of granted) print(`  scopes granted differ from those asked for: ${scopes}`);
    const probed = await probe(opened.connection, target);
    if ('why' in probed) {
      print(`  CANNOT BE USED: ${probed.why}`);
      return false;
    }
    const { software, fhirVersion } = probed.capability;
    print(
      `  FHIR ${fhirVersion}, ${software?.name ?? 'software not named'} ${software?.version ?? ''}`.trimEnd(),
    );
    const way = fixedWay(target) ?? probed.way;
    print(
      `  goes by ${WORDS[way.mode]}${target.mode === 'probe' ? ', as it says it can' : ', as configured'}`,
    );
    if (way.mode !== probed.way.mode) print(`  it says that it can do ${probed.way.mode}`);
    print(`  ${sentText(configured, way)}`);
    print(`  profile ${target.profile}: ${AS[target.profile]}`);
    return true;
  } catch (error) {
    print(`  CANNOT BE USED: ${error instanceof Error ? error.message : String(error)}`);
    return false;
  } finally {
    opened.close();
  }
}

async function checkAuthorization({ auth }: ConfiguredTarget, header: string | null): Promise<void> {
  if (auth.type === 'smart') {
    const { alg, kid } = await readSigningKey(auth.keyFile);
    print(`  SMART Backend Services as ${auth.clientId}: a token was given for ${alg}, key ${kid}`);
  } else print(header === null ? '  no authorization' : '  bearer token from configuration');
}

const WORDS: Readonly<Record<Way['mode'], string>> = {
  create: 'conditional create, one by one, under ids of its choice',
  put: 'PUT, one by one, under our ids',
  batch: 'a batch of PUTs under our ids for each entry',
  transaction: 'a transaction of PUTs under our ids for each entry',
};

const AS: Readonly<Record<Profile, string>> = {
  base: 'as it is issued',
  pocd: 'what devices show as Observations of HL7 Point-of-Care Devices, with their DeviceMetrics; the rest as it is issued',
};

const ISSUED_TYPES = ['Observation', 'Provenance', 'Device'];

function sentText({ target }: ConfiguredTarget, { types }: Way): string {
  const facts = [...(target.facts ?? Object.keys(FACT_CODES))];
  const sent = target.profile === 'pocd' ? [...ISSUED_TYPES, 'DeviceMetric'] : ISSUED_TYPES;
  const of = sent.filter((type) => types === null || types.has(type)).join(', ');
  return `would be sent, of ${of}: ${facts.length === Object.keys(FACT_CODES).length ? 'all facts' : facts.join(', ')}`;
}
