/** Batches and transactions. Source: FHIR R4 http.html#transaction, bundle.html. */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { bundleOf, create, level, quantity, raw } from './fhir-messages.ts';
import { issueOf, openWard, type Ward } from './fhir-ward.ts';

let ward: Ward;

beforeEach(async () => {
  ward = await openWard();
});
afterEach(() => ward.service.stop());

describe('a transaction', () => {
  const send = (body: object, headers: object = {}) => ward.post(body, headers, '/fhir');

  test('writes all, answers in order, and again the same', async () => {
    const bundle = bundleOf(
      'transaction',
      create(level('a', '09:00', 100)),
      create(raw('w', 'body-weight', '08:30', quantity(70, 'kg')), {
        ifNoneExist: 'identifier=urn:example:ward|w',
      }),
      create(level('b', '10:00', 180)),
    );
    const { status, text } = await send(bundle, { prefer: 'return=representation' });
    expect(status, text).toBe(200);
    const answer = JSON.parse(text);
    expect(problemsOf(answer)).toEqual([]);
    expect(answer.type).toBe('transaction-response');
    const entries = answer.entry as {
      resource: { id: string };
      response: { status: string; location: string };
    }[];
    expect(entries.map(({ response }) => response.status)).toEqual(Array(3).fill('201 Created'));
    expect(entries.map(({ resource }) => resource.id.split('.')[0])).toEqual([
      'level',
      'body-weight',
      'level',
    ]);
    const again = JSON.parse((await send(bundle)).text);
    expect(again.entry.map((each: { response: object }) => each.response)).toEqual(
      entries.map(({ response }) => ({ ...response, status: '200 OK' })),
    );
    expect(await ward.written()).toHaveLength(5);
  });

  test.each([
    ['one is wrong by itself', level('b', '10:00', -1), 'Bundle.entry[1].resource.value', 422],
    [
      'the ledger does not take one',
      level('b', '10:00', 1, { subject: { reference: 'Patient/2' } }),
      'Bundle.entry[1].resource.subject',
      422,
    ],
    [
      'one has a key that is used',
      level('placed', '10:00', 1),
      'Bundle.entry[1].resource.identifier[0]',
      409,
    ],
    ['two have one key', level('a', '10:00', 1), 'Bundle.entry[1].resource.identifier[0]', 422],
  ] as const)('writes nothing when %s', async (_, bad, element, status) => {
    const answer = await send(bundleOf('transaction', create(level('a', '09:00', 100)), create(bad)));
    expect(answer.status, answer.text).toBe(status);
    expect(issueOf(answer.text).expression).toEqual([element]);
    expect(await ward.written()).toHaveLength(2);
    expect(JSON.parse((await ward.service.send('GET', '/fhir/Observation?code=level')).text).total).toBe(0);
  });

  test('without entries is no error; reads and deletes are refused; too many entries too', async () => {
    const empty = await send({ resourceType: 'Bundle', type: 'transaction' });
    expect([empty.status, JSON.parse(empty.text)]).toEqual([
      200,
      { resourceType: 'Bundle', type: 'transaction-response' },
    ]);
    for (const method of ['GET', 'DELETE', 'PUT']) {
      const answer = await send(bundleOf('transaction', { request: { method, url: 'Observation' } }));
      expect([answer.status, issueOf(answer.text).code], method).toEqual([400, 'not-supported']);
    }
    const many = await send(
      bundleOf('transaction', ...Array.from({ length: 501 }, () => create(level('a', '09:00', 1)))),
    );
    expect(many.status).toBe(413);
    const other = await send({ resourceType: 'Bundle', type: 'document' });
    expect([other.status, issueOf(other.text).expression]).toEqual([400, ['Bundle.type']]);
  });
});

test.each(['batch', 'transaction'] as const)('a %s names no entry twice (invariant bdl-7)', async (type) => {
  const named = (resource: object) => ({
    fullUrl: 'urn:uuid:5f0c5d6e-8a53-4f0c-a1c8-1f6ad3a2a3aa',
    ...create(resource),
  });
  const bundle = bundleOf(type, named(level('a', '09:00', 100)), named(level('b', '10:00', 180)));
  const answer = await ward.post(bundle, {}, '/fhir');
  expect([answer.status, issueOf(answer.text).expression]).toEqual([400, ['Bundle.entry[1].fullUrl']]);
  expect(await ward.written()).toHaveLength(2);
});

describe('a batch', () => {
  const send = (body: object) => ward.post(body, {}, '/fhir');

  test('each entry is answered by itself, in order; reads see what it wrote', async () => {
    const { status, text } = await send(
      bundleOf(
        'batch',
        { request: { method: 'GET', url: 'Observation/level.x.y' } },
        create(level('a', '09:00', 100)),
        create(level('b', '10:00', -1)),
        { request: { method: 'GET', url: 'metadata?_summary=true' } },
        { request: { method: 'DELETE', url: 'Observation/level.x.y' } },
        { request: { method: 'GET', url: '../v1/drains' } },
        { request: { method: 'GET', url: 'Observation?code=level' } },
        create(level('a', '09:00', 100), { ifNoneExist: 'identifier=urn:example:ward|other' }),
      ),
    );
    expect(status, text).toBe(200);
    const answer = JSON.parse(text);
    expect(problemsOf(answer)).toEqual([]);
    const statuses = answer.entry.map((each: { response: { status: string } }) =>
      each.response.status.slice(0, 3),
    );
    expect(statuses).toEqual(['404', '201', '422', '400', '400', '400', '200', '412']);
    expect(answer.entry[2].response.outcome.issue[0].expression).toEqual(['Observation.value']);
    expect(answer.entry[6].resource.entry).toHaveLength(1);
    expect(answer.entry[1].resource).toBeUndefined();
  });

  test('updates name the version that they replace, and reads see them (http.html#trules)', async () => {
    const stored = await ward.post(level('a', '09:00', 100));
    const { id } = JSON.parse(stored.text);
    const url = `Observation/${id}`;
    const put = (ml: number, more: object = {}) => ({
      resource: { id, ...level('a', '09:00', ml) },
      request: { method: 'PUT', url, ...more },
    });
    const { status, text } = await send(
      bundleOf(
        'batch',
        { request: { method: 'GET', url } },
        put(110, { ifMatch: 'W/"1"' }),
        put(120),
        put(130, { ifMatch: 'W/"9"' }),
        create(level('b', '10:00', 200)),
      ),
    );
    expect(status, text).toBe(200);
    const answer = JSON.parse(text);
    expect(problemsOf(answer)).toEqual([]);
    expect(answer.entry.map((each: { response: { status: string } }) => each.response.status)).toEqual([
      '200 OK',
      '200 OK',
      '428 Precondition Required',
      '412 Precondition Failed',
      '201 Created',
    ]);
    const [{ resource }, updated] = answer.entry;
    expect([resource.meta.versionId, resource.valueQuantity.value]).toEqual(['2', 110]);
    expect(updated.response).toMatchObject({
      etag: 'W/"2"',
      location: expect.stringMatching(/_history\/2$/),
      lastModified: resource.meta.lastUpdated,
    });
  });

  test('conditional reads are honoured', async () => {
    const { text } = await ward.post(level('a', '09:00', 100));
    const url = `Observation/${JSON.parse(text).id}`;
    const answer = JSON.parse(
      (
        await send(
          bundleOf(
            'batch',
            { request: { method: 'GET', url, ifNoneMatch: 'W/"1"' } },
            { request: { method: 'GET', url } },
          ),
        )
      ).text,
    );
    expect(answer.entry.map((each: { response: { status: string } }) => each.response.status)).toEqual([
      '304 Not Modified',
      '200 OK',
    ]);
    expect(answer.entry[1].response.etag).toBe('W/"1"');
  });
});
