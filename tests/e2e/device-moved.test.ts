/**
 * A monitor was put down on the wrong patient. Somebody corrects that, while the service is killed again and again: its
 * readings are all on the one drain or all on the other, never between; and in the end the EHR holds them on the right
 * patient, and those of the wrong one as entered in error. All of it is invented.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { rawPublicKey } from '../../src/audit/checkpoint.ts';
import { readKeyFile } from '../../src/audit/key-file.ts';
import { verifyDatabase } from '../../src/cli/verify/database.ts';
import { readEscrow } from '../../src/escrow/escrow-file.ts';
import { freePort, killAll, startService, startStandIn } from './processes.ts';
import { seeded } from './story.ts';

const seed = Number(process.env.SEED ?? Date.now() % 1_000_000);
/** Moved there and back with a kill each time; an even number ends on the right drain. */
const MOVES = 4;
const READINGS = 120;
const folder = mkdtempSync(join(tmpdir(), 'drainledger-moved-'));
afterAll(() => {
  killAll();
  rmSync(folder, { recursive: true, force: true });
});

const SYSTEM = 'urn:example:moved';
const id = (value: string) => ({ system: SYSTEM, value });
const NURSE = { type: 'person', reference: 'Practitioner/n1' };
const MONITOR = id('monitor');
const START = Date.UTC(2026, 0, 10, 6);
const at = (minute: number) => new Date(START + minute * 60_000).toISOString();
const common = (key: string) => ({ identifier: id(key), author: NURSE, effective_at: at(0) });
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

async function post(url: string, body: object): Promise<Record<string, string>> {
  const answer = await fetch(url, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify(body),
  });
  if (answer.status !== 200 && answer.status !== 201) throw new Error(await answer.text());
  return (await answer.json()) as Record<string, string>;
}
const get = async (url: string) => (await fetch(url)).json() as Promise<never>;

async function placed(base: string, key: string, patient: string): Promise<string> {
  const facts = { site: 'pleural-left', tubes: ['A'], population: 'adult', patient: { reference: patient } };
  const { drain } = await post(`${base}/v1/drains`, { ...common(key), ...facts });
  const setUp = { kind: 'set-up', profile: 'wet-2000', opening_level_ml: 0, ...common(`${key}-up`) };
  await post(`${base}/v1/drains/${drain}/entries`, setUp);
  return drain ?? '';
}

async function readingsOn(base: string, drain: string): Promise<number> {
  const { rows } = (await get(`${base}/v1/drains/${drain}/chart`)) as { rows: { kind: string }[] };
  return rows.filter(({ kind }) => kind === 'reading').length;
}

async function untilDelivered(base: string): Promise<void> {
  for (const end = Date.now() + 90_000; Date.now() < end; await pause(50)) {
    const { deliveries } = (await get(`${base}/readyz`)) as { deliveries: { state: string }[] };
    if (deliveries.every(({ state }) => state === 'idle')) return;
  }
  throw new Error('deliveries did not settle within 90 s');
}

interface Held {
  readonly id: string;
  readonly status: string;
  readonly subject: { readonly reference: string };
}

/** What the EHR holds of one code on one patient, the wrong one's records of drains included. */
async function heldAt(ehr: string, patient: string, code: string): Promise<readonly Held[]> {
  const { entry = [], total } = (await get(`${ehr}/Observation?_count=100000`)) as {
    entry?: { resource: Held }[];
    total: number;
  };
  expect(entry).toHaveLength(total);
  return entry
    .map(({ resource }) => resource)
    .filter(({ id, subject }) => id.startsWith(`${code}.`) && subject.reference === `Patient/${patient}`);
}

it(`what was charted on the wrong patient (seed ${seed})`, async () => {
  const random = seeded(seed);
  const database = join(folder, 'ledger.db');
  const [ehrPort, port] = [await freePort(), await freePort()];
  const base = `http://127.0.0.1:${port}`;
  const ehr = `http://127.0.0.1:${ehrPort}/fhir`;
  const standIn = await startStandIn(ehrPort, join(folder, 'ehr.log'));
  let service = await startService(port, database, ehrPort);
  const wrong = await placed(base, 'wrong', 'Patient/wrong');
  const right = await placed(base, 'right', 'Patient/right');
  const { device } = await post(`${base}/v1/devices`, { ...common('r'), device: MONITOR, type: 'monitor' });
  const assignments = `${base}/v1/devices/${device}/assignments`;
  const reason = 'put down on the wrong bed';
  await post(assignments, { ...common('m-0'), kind: 'assigned', drain: wrong, from: at(0), reason });
  for (let n = 1; n <= READINGS; n += 1)
    await post(`${base}/v1/device-entries`, {
      ...{ kind: 'reading', level_ml: n * 2, device: MONITOR, identifier: id(`reading-${n}`) },
      ...{ author: { type: 'device', identifier: MONITOR }, effective_at: at(n * 5) },
    });
  expect(await readingsOn(base, wrong)).toBe(READINGS);
  await untilDelivered(base);
  expect(await heldAt(ehr, 'wrong', 'level')).toHaveLength(READINGS);

  for (let move = 1; move < MOVES; move += 1) {
    const to = move % 2 === 1 ? right : wrong;
    const correction = {
      ...{ ...common(`m-${move}`), kind: 'corrected', target: id(`m-${move - 1}`), reason },
      replacement: { drain: to, from: at(0) },
    };
    const sent = post(assignments, correction).catch(() => null);
    await pause(random() * 250);
    await service.end('SIGKILL');
    await sent;
    service = await startService(port, database, ehrPort);
    const moved = [await readingsOn(base, wrong), await readingsOn(base, right)];
    expect([
      [READINGS, 0],
      [0, READINGS],
    ]).toContainEqual(moved);
    // Whether it was taken or not: the same message again ends in the same.
    await post(assignments, correction);
    expect(await readingsOn(base, to)).toBe(READINGS);
  }
  await untilDelivered(base);
  for (const code of ['level', 'net-drainage', 'cumulative-drainage']) {
    const held = await heldAt(ehr, 'right', code);
    expect(held).toHaveLength(READINGS);
    expect(new Set(held.map(({ status }) => status)), code).not.toContain('entered-in-error');
    const gone = await heldAt(ehr, 'wrong', code);
    expect(gone).toHaveLength(READINGS);
    expect([...new Set(gone.map(({ status }) => status))], code).toEqual(['entered-in-error']);
  }
  expect(await service.end('SIGTERM')).toBe(0);
  await standIn.end('SIGTERM');
  const { notes } = readEscrow(readFileSync(`${database}.escrow`, 'utf8'));
  const report = verifyDatabase(database, {
    given: rawPublicKey(readKeyFile(`${database}.key`)),
    outside: notes.map((note) => ({ where: `escrow of ${note.size}`, note })),
    onProgress() {},
  });
  expect(report.finding).toBeNull();
}, 300_000);
