import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { observationText, type RunningStandIn, readFrom, sendTo, startStandIn } from './client.ts';

let standIn: RunningStandIn;
beforeAll(async () => {
  standIn = await startStandIn();
});
afterAll(() => standIn.app.close());

const put = (id: string, text: string, headers = {}) =>
  sendTo('PUT', `${standIn.fhir}/Observation/${id}`, text, headers);
const post = (text: string, headers = {}) => sendTo('POST', `${standIn.fhir}/Observation`, text, headers);
const identified = (value: string) =>
  `"identifier":[{"system":"https://example.org/readings","value":"${value}"}], `;
const sentAs = (versionId: string) => `"meta":{"versionId":"${versionId}"}, `;

test('a created resource comes back byte for byte from the address it was given', async () => {
  const text = observationText(undefined, '0.500');
  const created = await post(text);
  expect(created.status).toBe(201);
  expect(created.text).toBe(text);
  expect(created.headers.get('etag')).toBe('W/"1"');
  expect(created.headers.get('content-type')).toMatch(/^application\/fhir\+json/);
  const location = created.headers.get('location') ?? '';
  expect(location).toMatch(new RegExp(`^${standIn.fhir}/Observation/[^/]+/_history/1$`));
  for (const address of [location, location.replace('/_history/1', '')]) {
    const read = await readFrom(address);
    expect([read.status, read.text, read.headers.get('etag')]).toEqual([200, text, 'W/"1"']);
  }
});

test('every version put is kept, and its own text is read back', async () => {
  const texts = ['1.50', '1.5', '1.500'].map((value) => observationText('kept', value));
  const statuses = [];
  for (const text of texts) statuses.push((await put('kept', text)).status);
  expect(statuses).toEqual([201, 200, 200]);
  for (const [index, text] of texts.entries()) {
    const read = await readFrom(`${standIn.fhir}/Observation/kept/_history/${index + 1}`);
    expect([read.text, read.headers.get('etag')]).toEqual([text, `W/"${index + 1}"`]);
  }
  const current = await readFrom(`${standIn.fhir}/Observation/kept`);
  expect([current.text, current.headers.get('etag')]).toEqual([texts[2], 'W/"3"']);
  const history = await readFrom(`${standIn.fhir}/Observation/kept/_history`);
  const positions = texts.map((text) => history.text.indexOf(text));
  expect(positions.toSorted((a, b) => b - a)).toEqual(positions);
  expect(positions).not.toContain(-1);
  expect(problemsOf(JSON.parse(history.text))).toEqual([]);
});

test('the same text put again makes no version, whatever condition it carries', async () => {
  await put('again', observationText('again', '1'));
  await put('again', observationText('again', '2'));
  const resent = await put('again', observationText('again', '2'), { 'if-match': 'W/"1"' });
  expect([resent.status, resent.headers.get('etag')]).toEqual([200, 'W/"2"']);
  expect((await readFrom(`${standIn.fhir}/Observation/again/_history/3`)).status).toBe(404);
});

test('If-Match lets an update through only on the version it names', async () => {
  expect((await put('guarded', observationText('guarded', '0'), { 'if-match': '"1"' })).status).toBe(412);
  await put('guarded', observationText('guarded', '1'));
  expect((await put('guarded', observationText('guarded', '2'), { 'if-match': 'W/"1"' })).status).toBe(200);
  expect((await put('guarded', observationText('guarded', '3'), { 'if-match': '"2"' })).status).toBe(200);
  const stale = await put('guarded', observationText('guarded', '4'), { 'if-match': 'W/"2"' });
  expect(stale.status).toBe(412);
  expect(stale.text).toContain('version 3 is stored');
  expect((await put('guarded', observationText('guarded', '5'), { 'if-match': '3' })).status).toBe(400);
  const current = await readFrom(`${standIn.fhir}/Observation/guarded`);
  expect(current.text).toBe(observationText('guarded', '3'));
});

test('an earlier meta.versionId does not overwrite a later one', async () => {
  // 10 after 9, so that an order by characters would be seen to be wrong.
  await put('ordered', observationText('ordered', '2', sentAs('10')));
  const late = await put('ordered', observationText('ordered', '1', sentAs('9')));
  expect(late.status).toBe(409);
  expect(problemsOf(JSON.parse(late.text))).toEqual([]);
  expect((await readFrom(`${standIn.fhir}/Observation/ordered`)).text).toContain('"versionId":"10"');
  expect((await put('ordered', observationText('ordered', '3', sentAs('11')))).status).toBe(200);
  expect((await put('ordered', observationText('ordered', '4', sentAs('11')))).status).toBe(200);
});

test('If-None-Exist creates once, then answers with what is there, then refuses to choose', async () => {
  const condition = (value: string) => ({
    'if-none-exist': `identifier=https://example.org/readings|${value}`,
  });
  const text = observationText(undefined, '1.0', identified('one'));
  const first = await post(text, condition('one'));
  const second = await post(observationText(undefined, '9', identified('one')), condition('one'));
  expect([first.status, second.status]).toEqual([201, 200]);
  expect([second.text, second.headers.get('location')]).toEqual([text, first.headers.get('location')]);
  await post(text);
  expect((await post(text, condition('one'))).status).toBe(412);
  expect((await post(text, condition('other'))).status).toBe(201);
  for (const unknown of [
    'identifier=one',
    'code=x|y',
    'identifier=a|b&identifier=c|d',
    'identifier=a|b,c',
    'identifier=a|b\\c',
  ]) {
    expect((await post(text, { 'if-none-exist': unknown })).status, unknown).toBe(400);
  }
});

test('a resource at the wrong address or without a usable id is refused and not kept', async () => {
  const before = await readFrom(`${standIn.origin}/_received`);
  const refused = [
    await put('a', observationText('b')),
    await put('a', observationText(undefined)),
    await put('a_b', observationText('a_b')),
    await sendTo('POST', `${standIn.fhir}/Patient`, observationText(undefined)),
    await post('[]'),
    await post('{"resourceType":"Observation","meta":{"versionId":3}}'),
  ];
  expect(refused.map(({ status }) => status)).toEqual([400, 400, 400, 400, 400, 400]);
  const counts = [before, await readFrom(`${standIn.origin}/_received`)].map(({ text }) => JSON.parse(text));
  expect(counts[1].versions).toEqual(counts[0].versions);
});
