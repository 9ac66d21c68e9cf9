/** What was sent about a patient stays out of the log, whatever becomes of the request. */
import { connect } from 'node:net';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { afterAll, beforeAll, expect, test } from 'vitest';
import * as observation from './fhir-messages.ts';
import { entry, id, level, placeDrain, placement, setUp, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
beforeAll(async () => {
  service = await startTestService();
});
afterAll(() => service.stop());

const CANARY = 'Zebrafinch';
const about = {
  patient: { reference: `Patient/${CANARY}`, identifier: { system: CANARY, value: CANARY } },
  encounter: { identifier: { system: CANARY, value: CANARY } },
  note: `${CANARY} was awake`,
  author: { type: 'person', reference: `Practitioner/${CANARY}` },
};
const marked = (of: object) => ({
  ...of,
  identifier: { system: CANARY, value: `${CANARY}-${JSON.stringify(of).length}` },
  author: about.author,
  note: about.note,
});

async function rawRequest(text: string): Promise<string> {
  const { hostname, port } = new URL(service.url);
  return new Promise((resolve, reject) => {
    const socket = connect(Number(port), hostname, () => socket.write(text));
    let answer = '';
    socket.on('data', (data) => {
      answer += data;
    });
    socket.on('close', () => resolve(answer));
    socket.on('error', reject);
  });
}

test('every route, well and badly asked', async () => {
  const { drain } = await placeDrain(service, `${CANARY}-placed`, '08:00', about);
  const entries = `/v1/drains/${drain}/entries`;
  const good = marked(level('', '09:00', 100));
  const bodies: readonly (string | object)[] = [
    marked(setUp('', '08:00', 0)),
    good,
    good,
    { ...good, level_ml: 101 },
    { ...good, level_ml: CANARY },
    { ...good, [CANARY]: 1 },
    {
      ...marked(entry('', 'reading', '10:00')),
      suction: { dial_cmh2o: { value: 1, unit: `${CANARY} H2O` } },
    },
    { ...marked(entry('', 'reading', '10:00')), suction: { dial_cmh2o: { value: 1, unit: 'constructor' } } },
    marked(voided('', CANARY)),
    `{"${CANARY}":1,"${CANARY}":2}`,
    CANARY,
  ];
  for (const body of bodies) {
    await service.send('POST', entries, body);
    await service.send('POST', '/v1/drains', body);
    const item = typeof body === 'string' ? body : { drain, ...body };
    await service.send('POST', '/v1/entries', { entries: [item, { together: [item] }] });
  }
  await service.send('POST', '/v1/drains', placement(`${CANARY}-2`, '08:00', about));
  await service.send('POST', entries, good, { 'content-type': `text/${CANARY}` });
  const raw = observation.level(CANARY, '09:30', 100, {
    subject: { ...about.patient, display: CANARY },
    focus: [{ identifier: id(`${CANARY}-placed`) }],
    performer: [{ reference: `Practitioner/${CANARY}`, display: CANARY }],
    note: [{ text: CANARY }],
  });
  const fhir = { 'content-type': 'application/fhir+json', 'if-none-exist': `identifier=${CANARY}` };
  for (const body of [
    raw,
    { ...raw, [CANARY]: 1 },
    { ...raw, status: CANARY },
    { ...raw, subject: { reference: `Patient/${CANARY}-2` } },
  ]) {
    await service.send('POST', '/fhir/Observation', body, { 'content-type': fhir['content-type'] });
    await service.send('POST', '/fhir/Observation', body, fhir);
    await service.send('PUT', `/fhir/Observation/level.${drain}.${CANARY}`, body, {
      ...fhir,
      'if-match': CANARY,
    });
    for (const type of ['batch', 'transaction'] as const) {
      const query = { request: { method: 'GET', url: `Observation?patient=${CANARY}` } };
      await service.send('POST', '/fhir', observation.bundleOf(type, observation.create(body)), fhir);
      await service.send(
        'POST',
        '/fhir',
        observation.bundleOf(type, query, { request: { method: CANARY, url: CANARY } }),
        fhir,
      );
    }
  }
  const paths = Object.keys(service.document.paths);
  const ids = [drain, CANARY, `level.${drain}.${CANARY}`, `%zz${CANARY}`, CANARY.repeat(30)];
  for (const path of [...paths, `/${CANARY}`, `/fhir/${CANARY}`]) {
    for (const each of ids) {
      const real = path.replaceAll(/\{\w+\}/g, each);
      for (const method of ['GET', 'DELETE']) {
        await service.send(method, real);
        await service.send(method, `${real}?as_of=${CANARY}&${CANARY}=1`);
      }
    }
  }
  const form = { 'content-type': 'application/x-www-form-urlencoded' };
  for (const query of [
    `patient=${CANARY}`,
    `patient=${CANARY}&_count=2`,
    `identifier=${CANARY}`,
    `date=${CANARY}`,
    `${CANARY}=1`,
  ]) {
    await service.send('GET', `/fhir/Observation?${query}`);
    await service.send('POST', '/fhir/Observation/_search', query, form);
    await service.send('GET', `/fhir/Observation/$lastn?${query}&category=exam`);
    await service.send(
      'POST',
      '/fhir/Observation/$stats',
      `subject=${CANARY}&code=level&statistic=count&${query}`,
      form,
    );
  }
  const broken = await rawRequest(`GET /${CANARY} HTTP/1.1\r\n${CANARY}\r\n\r\n`);
  expect(broken).toMatch(/^HTTP\/1\.1 400 Bad Request\r\n.*application\/problem\+json.*"status":400/s);

  const log = service.log();
  expect(log.split('\n').filter((line) => line.includes('"answered"')).length).toBeGreaterThan(100);
  expect(log.split('\n').filter((line) => line.includes(CANARY))).toEqual([]);
  expect(log).toContain('"route":"/v1/drains/:drain/entries"');
});

test('failures of the store, in writing and in reading', async () => {
  const { drain } = await placeDrain(service, 'fails');
  const other = new Database(join(service.folder, 'ledger.db'));
  other.exec('BEGIN IMMEDIATE');
  const message = marked(level('', '12:00', 100));
  const busy = await service.send('POST', `/v1/drains/${drain}/entries`, message);
  const [outcome] = JSON.parse(
    (await service.send('POST', '/v1/entries', { entries: [{ drain, ...message }] })).text,
  ).outcomes;
  other.exec('ROLLBACK');
  expect(busy.status).toBe(503);
  expect(outcome).toMatchObject({ status: 503, problem: { type: 'urn:drainledger:problem:not-durable' } });

  other.exec('ALTER TABLE drain RENAME TO gone');
  const failed = await service.send('GET', '/v1/drains');
  other.exec('ALTER TABLE gone RENAME TO drain');
  other.close();
  expect(failed.status).toBe(500);
  expect(failed.text).not.toContain('SQL');
  const failures = service
    .log()
    .split('\n')
    .filter((line) => line.includes('"request failed"'));
  expect(failures).toHaveLength(2);
  expect(failures.every((line) => line.includes('    at '))).toBe(true);
  expect(service.log()).not.toContain(CANARY);
  expect((await service.send('GET', `/v1/drains/${drain}/chart`)).status).toBe(200);
});
