/** The demonstration: two servers, an invented story over HTTP, what came of it at the bedside and at the EHR. */

import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { parseArgs } from 'node:util';
import { HOUR_MS } from '../domain/numbers/units.ts';
import { factId } from '../fhir/reference.ts';
import type { AdvisoriesAnswer } from './advisories.ts';
import { type ChartAnswer, getJson } from './api.ts';
import { differences, issuedTexts } from './compare.ts';
import { layOut } from './exact-print.ts';
import { type ServerProcess, startEhr, startLedger } from './processes.ts';
import {
  deliverySettled,
  type Received,
  readReceived,
  readTexts,
  receivedTable,
  typesReceived,
} from './received.ts';
import { type Replayed, replay } from './replay.ts';
import { chartLines, heading, LEGEND, openingLines, replayLines } from './report.ts';
import { ADULT } from './stories/adult.ts';
import { CHILD } from './stories/child.ts';
import { MEDIASTINAL } from './stories/mediastinal.ts';

const OPTIONS = {
  /** Check that the EHR holds what the ledger issued, and end; otherwise run until told to stop. */
  once: { type: 'boolean', default: false },
  /** Where the database is kept; without it in a temporary folder, which is removed at the end. */
  'keep-database': { type: 'string' },
} as const;

interface Servers {
  readonly ledger: ServerProcess;
  readonly ehr: ServerProcess;
  readonly database: string;
}

const STORIES = [ADULT, MEDIASTINAL, CHILD];
/** The story lasts 72 h and ends an hour before now, so that no entry lies in the future. */
const STORY_AGO_MS = 73 * HOUR_MS;

function print(lines: readonly string[]): void {
  process.stdout.write(`${lines.join('\n')}\n`);
}

/** @returns the exit code: 0, 1 where it failed or the EHR holds something else, 130 where a check was cut short */
export async function runDemo(args: readonly string[]): Promise<number> {
  const { once, 'keep-database': keepIn = null } = parseArgs({ args: [...args], options: OPTIONS }).values;
  try {
    return await demonstrate(once, keepIn);
  } catch (error) {
    process.stderr.write(`The demo failed: ${error instanceof Error ? error.message : String(error)}\n`);
    return 1;
  }
}

async function demonstrate(once: boolean, keepIn: string | null): Promise<number> {
  const told = new Promise<void>((done) => {
    for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP']) process.once(signal, () => done());
  });
  const folder = keepIn === null ? mkdtempSync(join(tmpdir(), 'drainledger-demo-')) : resolve(keepIn);
  mkdirSync(folder, { recursive: true });
  try {
    print(openingLines());
    return await withServers(folder, once, told);
  } finally {
    if (keepIn === null) rmSync(folder, { recursive: true, force: true });
    else print(['', `The database and the logs are kept in ${folder}`]);
  }
}

async function withServers(folder: string, once: boolean, told: Promise<void>): Promise<number> {
  const database = join(folder, 'ledger.sqlite');
  if (existsSync(database)) throw new Error(`${database} is there already: name an empty or a new folder`);
  const ehr = await startEhr(folder);
  try {
    const ledger = await startLedger(folder, database, ehr.url);
    const servers = { ledger, ehr, database };
    const gone = Promise.race([ledger.ended, ehr.ended]).then((why) => {
      throw new Error(why);
    });
    // A check that was cut short has found nothing out.
    const stopped = told.then(() => (once ? 130 : 0));
    const shown = show(servers).then((received) => (once ? check(servers, received) : runOn(stopped)));
    return await Promise.race([shown, gone, stopped]).finally(() => ledger.stop());
  } finally {
    await ehr.stop();
  }
}

function runOn(stopped: Promise<number>): Promise<number> {
  print(['', 'Running until it is stopped (Ctrl-C).']);
  return stopped;
}

async function show({ ledger, ehr, database }: Servers): Promise<Received> {
  const startMs = Math.floor((Date.now() - STORY_AGO_MS) / HOUR_MS) * HOUR_MS;
  print([
    ...heading('Two servers, each a process of its own'),
    `  service         ${ledger.url}`,
    `  its database    ${database}`,
    `  EHR stand-in    ${ehr.url}/fhir`,
    ...heading('72 invented hours of three drains are sent to the service'),
  ]);
  const replayed = await replay(ledger.url, STORIES, startMs);
  print([...replayLines(replayed), ...heading('How to read the charts'), ...LEGEND]);
  for (const story of STORIES) {
    const drain = replayed.drains.get(story.name) ?? '';
    const chart = await getJson<ChartAnswer>(`${ledger.url}/v1/drains/${drain}/chart`);
    const advisories = await getJson<AdvisoriesAnswer>(`${ledger.url}/v1/drains/${drain}/advisories`);
    print(chartLines(story, { chart, advisories, late: replayed.late }));
  }
  await deliverySettled(ledger.url);
  const received = await readReceived(ehr.url);
  const example = exampleId(replayed);
  print([
    ...heading('What arrived at the EHR'),
    `  ${typesReceived(received)}, in ${received.requests} requests:`,
    '',
    ...receivedTable(received),
    ...heading('One of them, as the EHR holds it'),
    layOut(received.texts.get(example) ?? 'null'),
    ...heading('To look at'),
    ...links(ledger.url, ehr.url, replayed, example),
  ]);
  return received;
}

/** The net volume of the adult that was contradicted and corrected: it has a history worth reading. */
function exampleId({ drains, watched }: Replayed): string {
  const ofAdult = watched.find(({ drain }) => drain === drains.get(ADULT.name));
  const row = ofAdult?.before[0];
  if (ofAdult === undefined || row === undefined) throw new Error('no story shows a value that changes');
  return `Observation/${factId(ofAdult.drain, { name: 'net-drainage', anchor: row.entry })}`;
}

function links(base: string, ehr: string, { drains }: Replayed, example: string): string[] {
  const ofDrains = STORIES.flatMap(({ name }) => [
    `  ${name.padEnd(16)} ${base}/v1/drains/${drains.get(name)}/chart`,
    `  ${' '.repeat(16)} ${base}/v1/drains/${drains.get(name)}/state`,
  ]);
  return [
    `  bedside page     ${base}/`,
    `  plots            ${base}/v1/drains/${drains.get(ADULT.name)}/plot.svg?last_h=72`,
    `                   ${base}/v1/drains/${drains.get(ADULT.name)}/plot.png?last_h=72`,
    `  API reference    ${base}/reference`,
    `  drains           ${base}/v1/drains`,
    ...ofDrains,
    `  FHIR metadata    ${base}/fhir/metadata`,
    `  Observation      ${base}/fhir/${example}`,
    `  its history      ${base}/fhir/${example}/_history`,
    `  who changed it   ${base}/fhir/Provenance?target=${example}`,
    `  EHR, the same    ${ehr}/fhir/${example}/_history`,
    `  EHR, all of it   ${ehr}/_received`,
  ];
}

/** The service's HTTP answers are compared first, then its database, which may be read once it has stopped. */
async function check({ ledger, database }: Servers, { texts }: Received): Promise<number> {
  const served = await readTexts(`${ledger.url}/fhir`, [...texts.keys()]);
  await ledger.stop();
  const issued = issuedTexts(database);
  const found = [
    ...differences(served, texts, 'the service'),
    ...differences(issued, texts, "the service's ledger"),
  ];
  print(heading('Does the EHR hold what the service issued?'));
  if (found.length > 0) {
    print(['  No:', ...found.map((line) => `  ${line}`)]);
    return 1;
  }
  const same = `${issued.size} resources issued, ${texts.size} at the EHR, all in their current version.`;
  print([`  Yes: ${same}`]);
  return 0;
}
