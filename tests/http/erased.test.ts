/** What is answered of a drain that was lawfully erased, and that nothing of it is told any more by any door. */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it, test } from 'vitest';
import { levelObx, message, obx, writeMapping } from '../hl7v2/messages.ts';
import { entry, level, placeDrain, placement, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'erased-test-'));
const database = join(folder, 'ledger.db');
const settings = { DRAINLEDGER_DATABASE: database, DRAINLEDGER_HL7V2: writeMapping(folder) };
const PATIENT = { identifier: { system: 'urn:example:mrn', value: 'canary-patient' } };
const HL7 = { 'content-type': 'application/hl7-v2' };
const NOTE = 'canary-note on the drain';

let service: TestService;
let gone: TestDrain;
let other: TestDrain;
let observation: string;
let erasing: string;
let traces: readonly string[];

const get = (path: string) => service.send('GET', path);
const erase = () =>
  spawnSync(
    process.execPath,
    [
      CLI,
      'erase',
      '--patient',
      'urn:example:mrn|canary-patient',
      '--by',
      'Practitioner/n1',
      '--reason',
      'invented',
    ],
    { encoding: 'utf8', env: { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: 'test.example', ...settings } },
  );

/** Which files of the ledger hold what was said of the drain. */
const tracesIn = (of: string): string[] =>
  readdirSync(of, { recursive: true, encoding: 'utf8', withFileTypes: true })
    .filter((each) => each.isFile() && each.name !== 'hl7v2.json')
    .flatMap(({ parentPath, name }) => {
      const bytes = readFileSync(join(parentPath, name));
      return [NOTE, 'canary-message', 'canary-again', 'drain-gone']
        .filter((text) => bytes.includes(text))
        .map((text) => `${name}: ${text}`);
    });

async function chart(): Promise<void> {
  gone = await placeDrain(service, 'drain-gone', '08:00', { patient: PATIENT });
  await tell(gone, setUp('up-gone', '08:00', 0));
  await tell(gone, level('first', '09:00', 60, { note: NOTE }));
  await tell(gone, level('second', '10:00', 95));
  await tell(gone, entry('out-gone', 'removed', '11:00'));
  other = await placeDrain(service, 'drain-other', '08:00', { patient: { reference: 'Patient/other' } });
  await tell(other, setUp('up-other', '08:00', 0));
  await tell(other, level('other', '09:00', 40));
  // Nothing can be made of it, and it names the drain: it is kept whole.
  const kept = message({ drain: 'drain-gone' }, obx('NM', 'NOSUCH^^99WARD', 'canary-message'));
  expect((await service.send('POST', '/v1/hl7v2', kept, HL7)).text).toContain('Kept as unmapped message 1');
  const about = message({ drain: 'drain-other', controlId: 'm2' }, obx('NM', 'NOSUCH^^99WARD', '7'));
  expect((await service.send('POST', '/v1/hl7v2', about, HL7)).text).toContain('Kept as unmapped message 2');
  // It names a device alone, as far as the mapping tells.
  const ofDevice = message({ drain: '', controlId: 'm5' }, obx('NM', 'NOSUCH^^99WARD', '8'));
  expect((await service.send('POST', '/v1/hl7v2', ofDevice, HL7)).text).toContain(
    'Kept as unmapped message 3',
  );
  const order = { author: { type: 'person', reference: 'Practitioner/n1' }, reason: 'invented' };
  expect((await service.send('POST', '/v1/hl7v2/unmapped/3/dismiss', order)).status).toBe(200);
  const all = JSON.parse((await get('/fhir/Observation?_count=100')).text) as {
    entry: { resource: { id: string } }[];
  };
  observation = all.entry.map(({ resource }) => resource.id).find((id) => id.includes(gone.drain)) ?? '';
  expect(observation).not.toBe('');
}

beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  service = await startTestService(settings);
  await chart();
  await service.stop();
  const { status, stdout, stderr } = erase();
  expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
  erasing = stdout;
  traces = tracesIn(folder);
  service = await startTestService(settings);
});
afterAll(async () => {
  await service.stop();
  rmSync(folder, { recursive: true });
});

test('no file of the ledger holds any of it; kept messages that named it are gone too', () => {
  expect(erasing).toContain('with 1 kept HL7 v2 messages erased');
  expect(traces).toEqual([]);
});

test('a kept message that names neither drain nor patient may be of anybody: it is told of, dismissed or not', () => {
  expect(erasing.match(/Not reached: the HL7 v2 message kept as entry \d+ names no drain/g)).toHaveLength(1);
});

describe('asked for by its name it is told to be erased', () => {
  it('on every route of the native API that names one', async () => {
    const paths = Object.entries(service.document.paths)
      .filter(([path, methods]) => path.includes('{drain}') && 'get' in methods)
      .map(([path]) => path.replace('{drain}', gone.drain));
    expect(paths.length).toBeGreaterThan(8);
    for (const path of paths) {
      const { status, text } = await get(path);
      expect({ path, status, ...JSON.parse(text) }).toMatchObject({
        ...{ path, status: 410, type: 'urn:drainledger:problem:erased' },
        detail: expect.stringMatching(
          /^What was charted of this drain was lawfully erased on \d{4}-.*; entry \d+ of the log/,
        ),
      });
    }
  });

  it('under FHIR, as a resource that was deleted', async () => {
    for (const path of [observation, `${observation}/_history`, `${observation}/_history/1`]) {
      const { status, text } = await get(`/fhir/Observation/${path}`);
      expect(status, path).toBe(410);
      expect(JSON.parse(text).issue[0]).toMatchObject({ severity: 'error', code: 'deleted' });
    }
  });
});

test('what is sent for it again is refused, and nothing of it is kept', async () => {
  const place = placement('drain-gone', '08:00', { patient: PATIENT });
  for (const [path, body] of [
    ['/v1/drains', place],
    [`/v1/drains/${gone.drain}/entries`, level('first', '09:00', 60, { note: NOTE })],
    [`/v1/drains/${gone.drain}/entries`, level('new', '09:30', 70)],
  ] as const) {
    const { status, text } = await service.send('POST', path, body);
    expect({ path, status, type: JSON.parse(text).type }).toEqual({
      ...{ path, status: 410, type: 'urn:drainledger:problem:erased' },
    });
  }
});

test('an HL7 v2 message for it is rejected and not kept, whether or not anything could be made of it', async () => {
  const kept = async (): Promise<number[]> =>
    JSON.parse((await get('/v1/hl7v2/unmapped')).text).unmapped.map(
      (each: { sequence: number }) => each.sequence,
    );
  expect(await kept()).toEqual([2]);
  for (const [controlId, said] of [
    ['m3', levelObx('60')],
    ['m4', obx('NM', 'NOSUCH^^99WARD', 'canary-again')],
  ] as const) {
    const { status, text } = await service.send(
      ...(['POST', '/v1/hl7v2', message({ drain: 'drain-gone', controlId }, said), HL7] as const),
    );
    expect(status, text).toBe(410);
    expect(text).toContain(`MSA|AR|${controlId}`);
    expect(text).toMatch(/ERR\|.*lawfully erased/);
    expect(text).not.toContain('Kept as');
  }
  expect(await kept()).toEqual([2]);
  expect(tracesIn(folder).filter((each) => each.endsWith('canary-again'))).toEqual([]);
});

test('no list, search, history, export or overview shows any of it', async () => {
  for (const path of [
    '/v1/drains',
    '/v1/overview',
    '/fhir/Observation?_count=100',
    '/fhir/Observation/_history',
    '/fhir/Provenance?_count=100',
    '/v1/hl7v2/unmapped',
  ]) {
    const { status, text } = await get(path);
    expect({ path, status }).toEqual({ path, status: 200 });
    expect(text, path).not.toContain(gone.drain);
    expect(text, path).not.toContain('canary');
  }
  const search = `/fhir/Observation?patient:identifier=${encodeURIComponent('urn:example:mrn|canary-patient')}`;
  expect(JSON.parse((await get(search)).text)).toMatchObject({ total: 0 });
  expect((await get('/v1/drains')).text).toContain(other.drain);
  expect(JSON.parse((await get('/v1/hl7v2/unmapped')).text).unmapped).toHaveLength(1);
});

test('the other drain is charted on', async () => {
  const later = level('later', '10:00', 55);
  expect((await service.send('POST', `/v1/drains/${other.drain}/entries`, later)).status).toBe(201);
  expect((await get(`/v1/drains/${other.drain}/chart`)).text).toContain('"level_ml":55');
});
