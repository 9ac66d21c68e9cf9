import { afterEach, beforeEach, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { observationText, type RunningStandIn, readFrom, sendTo, startStandIn } from './client.ts';

let standIn: RunningStandIn;
beforeEach(async () => {
  standIn = await startStandIn();
});
afterEach(() => standIn.app.close());

interface Request {
  readonly method: string;
  readonly url: string;
  readonly ifMatch?: string;
  readonly ifNoneExist?: string;
  readonly ifNoneMatch?: string;
}

function entry(request: Request, resource: string, fullUrl = 'https://example.org/invented'): string {
  return `{"fullUrl":"${fullUrl}", "resource": ${resource} , "request":${JSON.stringify(request)}}`;
}

const putEntry = (id: string, value: string, more: Partial<Request> = {}) =>
  entry({ method: 'PUT', url: `Observation/${id}`, ...more }, observationText(id, value));

async function sendBundle(type: string, entries: readonly string[]) {
  const answer = await sendTo(
    'POST',
    standIn.fhir,
    `{"resourceType":"Bundle","type":"${type}","entry":[${entries.join(',\n')}]}`,
  );
  const body: {
    type?: string;
    entry?: { response: { status: string; etag?: string; location?: string } }[];
  } = JSON.parse(answer.text);
  return {
    status: answer.status,
    text: answer.text,
    body,
    responses: body.entry?.map((each) => each.response),
  };
}

async function received(): Promise<{ versions: Record<string, number> }> {
  return JSON.parse((await readFrom(`${standIn.origin}/_received`)).text);
}

test('a transaction keeps every text as sent and answers in the order of the requests', async () => {
  const created = observationText(undefined, '2.00');
  const { status, body, responses } = await sendBundle('transaction', [
    putEntry('first', '1.10'),
    entry({ method: 'POST', url: 'Observation' }, created),
    putEntry('second', '1.20'),
  ]);
  expect([status, body.type]).toEqual([200, 'transaction-response']);
  expect(problemsOf(body)).toEqual([]);
  expect(responses?.map((response) => response.status)).toEqual([
    '201 Created',
    '201 Created',
    '201 Created',
  ]);
  const locations = (responses ?? []).map(({ location }) => location ?? '');
  expect([locations[0], locations[2]]).toEqual([
    'Observation/first/_history/1',
    'Observation/second/_history/1',
  ]);
  const texts = [];
  for (const location of locations) texts.push((await readFrom(`${standIn.fhir}/${location}`)).text);
  expect(texts).toEqual([observationText('first', '1.10'), created, observationText('second', '1.20')]);
});

test('a transaction of which one entry fails keeps nothing and names the entry', async () => {
  await sendBundle('transaction', [putEntry('kept', '1')]);
  const { status, text, body } = await sendBundle('transaction', [
    entry({ method: 'POST', url: 'Observation' }, observationText(undefined)),
    putEntry('kept', '2'),
    putEntry('new', '1'),
    putEntry('kept-not', '1', { ifMatch: 'W/"4"' }),
  ]);
  expect(status).toBe(412);
  expect(text).toContain('Bundle.entry[3]');
  expect(problemsOf(body)).toEqual([]);
  expect((await received()).versions).toEqual({ 'Observation/kept': 1 });
  expect((await readFrom(`${standIn.fhir}/Observation/kept`)).text).toBe(observationText('kept', '1'));
  expect((await readFrom(`${standIn.fhir}/Observation/new`)).status).toBe(404);
});

test('conditions of the entries hold, and a create is done before an update listed ahead of it', async () => {
  const system = 'https://example.org/readings';
  const identifier = `"identifier":[{"system":"${system}","value":"one"}], `;
  const ifNoneExist = `identifier=${system}|one`;
  const update = entry({ method: 'PUT', url: 'Observation/mine' }, observationText('mine', '1', identifier));
  const create = entry(
    { method: 'POST', url: 'Observation', ifNoneExist },
    observationText(undefined, '2', identifier),
  );
  const first = await sendBundle('transaction', [update, create]);
  expect(first.responses?.map(({ status }) => status)).toEqual(['201 Created', '201 Created']);
  // Both now carry the identifier, so the condition can no longer tell which one is meant.
  const second = await sendBundle('transaction', [putEntry('mine', '3', { ifMatch: 'W/"1"' }), create]);
  expect(second.status).toBe(412);
  const third = await sendBundle('transaction', [putEntry('mine', '3', { ifMatch: 'W/"1"' })]);
  expect(third.responses?.[0]).toMatchObject({ status: '200 OK', etag: 'W/"2"' });
});

test('a transaction sent again changes nothing', async () => {
  const entries = [putEntry('one', '1.0'), putEntry('two', '2.0')];
  await sendBundle('transaction', entries);
  const again = await sendBundle('transaction', entries);
  expect(again.responses?.map(({ status, etag }) => `${status} ${etag}`)).toEqual([
    '200 OK W/"1"',
    '200 OK W/"1"',
  ]);
  expect((await received()).versions).toEqual({ 'Observation/one': 1, 'Observation/two': 1 });
});

test('a batch keeps what it can and says of each other entry why not', async () => {
  const { status, text, body, responses } = await sendBundle('batch', [
    putEntry('good', '1'),
    putEntry('guarded', '1', { ifMatch: 'W/"1"' }),
    entry({ method: 'DELETE', url: 'Observation/good' }, observationText('good')),
    entry({ method: 'PUT', url: 'Observation?identifier=a|b' }, observationText('good')),
    entry({ method: 'PUT', url: 'Observation/good/more' }, observationText('good', '2')),
    entry({ method: 'POST', url: 'Observation', ifMatch: 'W/"1"' }, observationText(undefined)),
    putEntry('good', '3', { ifNoneExist: 'identifier=a|b' }),
    '{"request":{"method":"PUT","url":"Observation/none"}}',
    entry({ method: 'PUT', url: 'Unknown/x' }, '{"resourceType":"Unknown","id":"x"}'),
  ]);
  expect([status, body.type]).toEqual([200, 'batch-response']);
  expect(responses?.map((response) => Number.parseInt(response.status, 10))).toEqual([
    201, 412, 400, 400, 400, 400, 400, 400, 404,
  ]);
  expect(text).toContain('PUT Observation/none has no resource');
  expect(problemsOf(body)).toEqual([]);
  expect((await received()).versions).toEqual({ 'Observation/good': 1 });
});

test('what a Bundle asks for and the stand-in cannot do is refused as a whole', async () => {
  const temporary = 'urn:uuid:6f1b7c1e-52c3-4a57-9d0e-0d8f5f3a9b10';
  const referring = observationText(undefined, '1', `"subject":{"reference":"${temporary}"}, `);
  const patient = '{"resourceType":"Patient"}';
  const answers = [
    await sendBundle('transaction', [putEntry('twice', '1'), putEntry('twice', '2')]),
    await sendBundle('transaction', [
      entry({ method: 'POST', url: 'Patient' }, patient, temporary),
      entry({ method: 'POST', url: 'Observation' }, referring),
    ]),
    await sendBundle('transaction', [putEntry('some', '1', { ifNoneMatch: '*' })]),
    await sendBundle('collection', [putEntry('some', '1')]),
    await sendBundle('transaction', ['{"resource":{}}']),
  ];
  expect(answers.map(({ status }) => status)).toEqual([400, 422, 400, 400, 400]);
  for (const { body } of answers) expect(problemsOf(body)).toEqual([]);
  expect((await received()).versions).toEqual({});
});

test('an empty Bundle has an answer without entries', async () => {
  const { status, body } = await sendBundle('transaction', []);
  expect([status, body.entry]).toEqual([200, undefined]);
  expect(problemsOf(body)).toEqual([]);
});
