/**
 * What clients of either patient are told of a drain that was taken for the wrong one's, and of what rested on it.
 * Source: SMART App Launch 2.2.0 (a patient scope is of one patient); that a drain which was linked anew is its patient's
 * alone, whatever was issued before, is our own rule.
 */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { type Guarded, startGuarded } from './access-control.ts';
import { bundleOf, create } from './fhir-messages.ts';
import { entry, level, placement, setUp, voided } from './messages.ts';
import { chartRelinked, type Relinked, WRONG_NAMES, withdrawnThen } from './relinked-ward.ts';

const ALL = 'system/*.cruds drainledger/operate drainledger/audit';
let guarded: Guarded;
let full: string;
let ward: Relinked;
/** All that was ever issued, type and id. */
let issued: readonly string[];

beforeAll(async () => {
  guarded = await startGuarded({ DRAINLEDGER_REQUESTS_PER_MINUTE: '1000000' });
  full = await guarded.token({ scope: ALL });
  ward = await chartRelinked(guarded, full, 'Patient/right');
  const found: string[] = [];
  for (const type of ['Observation', 'Device', 'Provenance'])
    for (const { resource } of (await read(full, `/fhir/${type}?_count=1000`)).entry)
      found.push(`${type}/${resource.id}`);
  issued = found;
});
afterAll(() => guarded.stop());

const get = (token: string, path: string) => guarded.send(token, 'GET', path);
const read = async (token: string, path: string) => JSON.parse((await get(token, path)).text);
const ofRight = () => guarded.token({ scope: 'patient/*.cruds', patient: 'right' });
const ofWrong = () => guarded.token({ scope: 'patient/*.cruds', patient: 'canary-wrong' });

const SEARCHES = [
  ...['Observation', 'Device', 'Provenance', 'DeviceUseStatement', 'AuditEvent'].flatMap((type) => [
    `/fhir/${type}?_count=1000`,
    `/fhir/${type}?patient=Patient/canary-wrong`,
    `/fhir/${type}/_history`,
  ]),
  '/fhir/Observation?_include=Observation:device&_revinclude=Provenance:target&_count=1000',
  '/fhir/Observation?_include=Observation:derived-from&_include=Observation:has-member&_count=1000',
  '/fhir/Device?_revinclude=Provenance:target',
  '/fhir/Observation/$lastn?patient=Patient/right&code=level&max=10',
  '/fhir/Observation/$stats?subject=Patient/right&code=level&statistic=count&duration=99999&include=true',
];
const OF_DRAIN = ['', '/chart', '/state', '/entries', '/export.csv', '/advisories', '/live'];
const OF_WINDOWS = ['/windows?kind=hour', '/patient-windows?kind=hour', '/trends?series=level'];

const everyDoor = ({ drain }: Relinked): readonly string[] => [
  ...issued.flatMap((each) => [
    `/fhir/${each}`,
    `/fhir/${each}/_history`,
    ...[1, 2, 3, 4].map((version) => `/fhir/${each}/_history/${version}`),
  ]),
  ...SEARCHES,
  ...[...OF_DRAIN, ...OF_WINDOWS].map((each) => `/v1/drains/${drain}${each}`),
];

/** What an answer says, but for what it repeats of the question. */
const told = (text: string, path: string): string =>
  path.includes('?patient=') ? text.replaceAll(/"link":\[.*?\]/g, '') : text;

async function naming(token: string, names: readonly string[]): Promise<readonly string[]> {
  const found: string[] = [];
  for (const path of everyDoor(ward)) {
    const text = told((await get(token, path)).text, path);
    for (const name of names) if (text.includes(name)) found.push(`${path} ${name}`);
  }
  return found;
}

test('no door names the wrong patient to a client of the right one, though who may see all of it is told', async () => {
  expect(await naming(await ofRight(), WRONG_NAMES)).toEqual([]);
  expect((await naming(full, WRONG_NAMES)).length).toBeGreaterThan(100);
}, 120_000);

test('nor to a client of the drain', async () => {
  const ofDrain = guarded.key(ALL, { patient: null, drain: ward.drain });
  await expect.poll(async () => (await get(ofDrain, `/v1/drains/${ward.drain}`)).status).toBe(200);
  expect(await naming(ofDrain, WRONG_NAMES)).toEqual([]);
}, 120_000);

test('a client of the wrong patient is told nothing of the drain, nor of what rested on it', async () => {
  const token = await ofWrong();
  const found = [];
  for (const path of everyDoor(ward).filter(
    (each) => !each.includes(ward.drain) && !each.includes('right'),
  )) {
    const { text } = await get(token, path);
    if (text.includes(ward.drain) || text.includes('Patient/right')) found.push(path);
  }
  expect(found).toEqual([]);
  const own = await read(token, '/fhir/Observation?_count=1000&_total=accurate');
  expect(own.entry.length).toBeGreaterThan(5);
  expect(own.total).toBe(own.entry.length);
  // What its own drain gave is read as ever, though it once stood in a sum with the other.
  const sums = own.entry.map(({ resource }: { resource: { id: string } }) => resource.id);
  for (const id of sums) expect((await get(token, `/fhir/Observation/${id}`)).status, id).toBe(200);
}, 120_000);

test('what stands is read by the right one, with the part of its history that is theirs', async () => {
  const token = await ofRight();
  const { entry: found } = await read(token, '/fhir/Observation?code=level&_count=1000');
  expect(found.length).toBe(3);
  for (const { resource } of found) {
    expect(resource.subject).toEqual({ reference: 'Patient/right' });
    const whole = await read(full, `/fhir/Observation/${resource.id}/_history`);
    const history = await read(token, `/fhir/Observation/${resource.id}/_history`);
    expect(problemsOf(history)).toEqual([]);
    const theirs = whole.entry.filter(
      (each: { resource: { subject?: { reference?: string } } }) =>
        each.resource.subject?.reference === 'Patient/right',
    );
    expect(history.entry).toEqual(theirs);
    expect(history.total).toBe(theirs.length);
    const { status } = await get(token, `/fhir/Observation/${resource.id}`);
    expect(status).toBe(200);
  }
});

test("what was withdrawn while it was the wrong one's is to the right one as what never was", async () => {
  const token = await ofRight();
  const { entry } = await read(full, '/fhir/Observation?identifier=urn:example:ward|relinked-gone');
  const { id } = entry[0].resource;
  expect(entry[0].resource.subject.reference).toBe('Patient/canary-wrong');
  const nothing = await get(token, `/fhir/Observation/${id.replace(/.$/, 'x')}`);
  for (const path of ['', '/_history', '/_history/1']) {
    const { status, text } = await get(token, `/fhir/Observation/${id}${path}`);
    expect([status, text.replace(id, '#')]).toEqual([404, nothing.text.replace(id.replace(/.$/, 'x'), '#')]);
  }
  const resource = withdrawnThen({ subject: { reference: 'Patient/right' } });
  const ifNoneExist = 'identifier=urn:example:ward|relinked-gone';
  const put = { ...resource, id };
  for (const { status, text } of [
    await guarded.send(token, 'POST', '/fhir/Observation', resource, { 'if-none-exist': ifNoneExist }),
    await guarded.send(token, 'POST', '/fhir', bundleOf('transaction', create(resource, { ifNoneExist }))),
    await guarded.send(token, 'PUT', `/fhir/Observation/${id}`, put, { 'if-match': 'W/"2"' }),
  ]) {
    expect([403, 405]).toContain(status);
    for (const name of WRONG_NAMES) expect(text).not.toContain(name);
  }
});

test('of entries that were recorded meanwhile it is told where they stand, and of later ones all', async () => {
  const token = await ofRight();
  const { entries } = await read(token, `/v1/drains/${ward.drain}/entries`);
  const whole = (await read(full, `/v1/drains/${ward.drain}/entries`)).entries;
  expect(whole.every((each: { body: unknown }) => each.body !== null)).toBe(true);
  const linked = whole.findIndex((each: { body: { kind: string } }) => each.body.kind === 'drain-updated');
  const unlinked = whole.findIndex(
    (each: { body: { identifier: { value: string } } }) => each.body.identifier.value === 'unlinks',
  );
  expect(entries).toEqual(
    whole.map((each: object, n: number) => (n >= linked && n < unlinked ? { ...each, body: null } : each)),
  );
  const lines = (await get(token, `/v1/drains/${ward.drain}/export.csv`)).text.split('\r\n');
  const wholeLines = (await get(full, `/v1/drains/${ward.drain}/export.csv`)).text.split('\r\n');
  expect(lines.length).toBe(wholeLines.length);
  const bodies = (of: readonly string[]) => of.filter((line) => line.endsWith('"')).length;
  expect(bodies(wholeLines) - bodies(lines)).toBe(unlinked - linked);
});

test('of what was withdrawn the chart tells it what was charted since the drain is theirs alone', async () => {
  const chart = (body: object) => guarded.send(full, 'POST', `/v1/drains/${ward.drain}/entries`, body);
  await chart(level('relinked-late', '10:30', 95));
  await chart(voided('relinked-lates', 'relinked-late'));
  const withdrawn = async (token: string): Promise<string[]> =>
    (await read(token, `/v1/drains/${ward.drain}/chart`)).withdrawn.map(
      (each: { identifier: { value: string } }) => each.identifier.value,
    );
  expect(await withdrawn(full)).toEqual(
    expect.arrayContaining(['links-wrongly', 'relinked-void', 'relinked-late']),
  );
  expect(await withdrawn(await ofRight())).toEqual(['relinked-late']);
});

test('a link to a further page that was given before is of no drain that was taken from its patient since', async () => {
  const token = await ofWrong();
  const post = (path: string, body: object) => guarded.send(full, 'POST', path, body);
  const { drain } = JSON.parse((await post('/v1/drains', placement('paged'))).text);
  const chart = (body: object) => post(`/v1/drains/${drain}/entries`, body);
  await chart(
    entry('pages-wrongly', 'drain-updated', '08:00', { patient: { reference: 'Patient/canary-wrong' } }),
  );
  await chart(setUp('paged-up', '08:00', 0));
  await chart(level('paged-r', '11:00', 50));
  const first = await read(token, '/fhir/Observation?_count=2');
  expect(JSON.stringify(first.entry)).toContain(drain);
  await chart(voided('unpages', 'pages-wrongly'));
  const next = first.link.find(({ relation }: { relation: string }) => relation === 'next').url as string;
  const { status, text } = await get(token, next.replace(guarded.service.url, ''));
  expect([status, text.includes(drain)]).toEqual([200, false]);
});

test('a drain that is linked to nobody is not taken by a client for its own patient, through no door', async () => {
  const { drain } = JSON.parse((await guarded.send(full, 'POST', '/v1/drains', placement('free'))).text);
  const token = await guarded.token({ scope: 'patient/*.cruds', patient: 'right' });
  const claim = (key: string) =>
    entry(key, 'drain-updated', '08:00', { patient: { reference: 'Patient/right' } });
  const nowhere = drain.replaceAll(/./g, 'a');
  const direct = await guarded.send(token, 'POST', `/v1/drains/${drain}/entries`, claim('claims-1'));
  expect(direct.status).toBe(403);
  const entries = [drain, nowhere].map((each, n) => ({ drain: each, ...claim(`claims-2-${n}`) }));
  const { text } = await guarded.send(token, 'POST', '/v1/entries', { entries });
  const [free, none] = JSON.parse(text).outcomes;
  expect([free.status, none]).toEqual([403, free]);
  expect((await read(full, `/v1/drains/${drain}`)).patient).toBeUndefined();
  const own = placement('own', '08:00', { patient: { reference: 'Patient/right' } });
  expect((await guarded.send(token, 'POST', '/v1/drains', own)).status).toBe(201);
});
