/**
 * What stands already under an identifier that is sent again is shown to nobody who may not read it: by a create that
 * asks for it (FHIR R4 http.html#ccreate), and by one that collides with it.
 */
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { type Guarded, startGuarded } from './access-control.ts';
import * as raw from './fhir-messages.ts';
import { id, level, placement, setUp } from './messages.ts';

let guarded: Guarded;
let full: string;
let mine: string;

beforeAll(async () => {
  guarded = await startGuarded();
  full = await guarded.token({ scope: 'system/*.cruds' });
  mine = await placeOf('mine', '1');
  await placeOf('other', '2');
});
afterAll(() => guarded.stop());

async function placeOf(key: string, patient: string): Promise<string> {
  const linked = { patient: { reference: `Patient/${patient}` } };
  const { text } = await guarded.send(full, 'POST', '/v1/drains', placement(key, '08:00', linked));
  const { drain } = JSON.parse(text) as { drain: string };
  for (const message of [setUp(`${key}-up`, '08:00', 0), level(`${key}-r`, '09:00', 50)])
    await guarded.send(full, 'POST', `/v1/drains/${drain}/entries`, message);
  return drain;
}

/** A level of the client's own drain, under an identifier that names an entry already. */
const named = (key: string): object =>
  raw.level(key, '10:00', 60, { subject: { reference: 'Patient/1' }, focus: [{ identifier: id('mine') }] });
const unless = ({ system, value }: ReturnType<typeof id>): string => `identifier=${system}|${value}`;

const confined = {
  'one patient': () => guarded.token({ scope: 'patient/Observation.crus', patient: '1' }),
  'one drain': async () => {
    const key = guarded.key('system/Observation.crus', { patient: null, drain: mine });
    await vi.waitUntil(async () => (await guarded.send(key, 'GET', `/v1/drains/${mine}`)).status === 200, {
      timeout: 5000,
    });
    return key;
  },
};

test.each(Object.entries(confined))(
  'a client of %s is shown what is its own, and no more',
  async (_, tokenOf) => {
    const token = await tokenOf();
    const create = (key: string) =>
      guarded.send(token, 'POST', '/fhir/Observation', named(key), { 'if-none-exist': unless(id(key)) });
    const inBundle = (type: 'batch' | 'transaction', key: string) =>
      guarded.send(
        token,
        'POST',
        '/fhir',
        raw.bundleOf(type, raw.create(named(key), { ifNoneExist: unless(id(key)) })),
        { prefer: 'return=representation' },
      );

    expect((await create('mine-r')).status).toBe(200);
    expect(JSON.parse((await inBundle('batch', 'mine-r')).text).entry[0].response.status).toBe('200 OK');

    const refused = await create('other-r');
    expect(refused.status).toBe(403);
    const outcome = JSON.parse(refused.text);
    expect(problemsOf(outcome)).toEqual([]);
    expect(outcome.issue).toMatchObject([{ code: 'forbidden', expression: ['Observation.identifier[0]'] }]);
    const batch = await inBundle('batch', 'other-r');
    expect(JSON.parse(batch.text).entry[0].response.status).toBe('403 Forbidden');
    const transaction = await inBundle('transaction', 'other-r');
    expect(transaction.status).toBe(403);
    for (const { text } of [refused, batch, transaction]) expect(text).not.toContain('Patient/2');
  },
);

test('a client that may chart and not read is told that something stands there, and nothing of it', async () => {
  const token = await guarded.token({ scope: 'system/Observation.c' });
  const sent = raw.level('own-1', '11:00', 70, {
    subject: { reference: 'Patient/1' },
    focus: [{ identifier: id('mine') }],
  });
  const first = await guarded.send(token, 'POST', '/fhir/Observation', sent);
  expect([first.status, JSON.parse(first.text).resourceType]).toEqual([201, 'Observation']);

  const unlessKnown = { 'if-none-exist': unless(id('other-r')) };
  const found = await fetch(`${guarded.service.url}/fhir/Observation`, {
    method: 'POST',
    headers: {
      ...{ authorization: `Bearer ${token}`, 'content-type': 'application/fhir+json' },
      ...unlessKnown,
    },
    body: JSON.stringify(named('other-r')),
  });
  expect([found.status, await found.text()]).toEqual([200, '']);
  const transaction = await guarded.send(
    token,
    'POST',
    '/fhir',
    raw.bundleOf('transaction', raw.create(named('other-r'), { ifNoneExist: unless(id('other-r')) })),
    { prefer: 'return=representation' },
  );
  expect(JSON.parse(transaction.text).entry[0]).toEqual({
    response: expect.objectContaining({ status: '200 OK' }),
  });
  const collides = await guarded.send(
    token,
    'POST',
    `/v1/drains/${mine}/entries`,
    level('other-r', '10:00', 60),
  );
  expect([collides.status, 'first' in JSON.parse(collides.text)]).toEqual([409, false]);
  for (const { text } of [transaction, collides]) expect(text).not.toMatch(/Patient\/2|"net_ml"/);
  const reader = await guarded.token({ scope: 'system/Observation.cr' });
  const again = await guarded.send(reader, 'POST', '/fhir/Observation', named('other-r'), unlessKnown);
  expect(JSON.parse(again.text).subject).toEqual({ reference: 'Patient/2' });
});

test('a client that may change and not read is shown what it made of a resource, and not what it is when that is sent again', async () => {
  const changer = await guarded.token({ scope: 'system/Observation.u' });
  const charted = await guarded.send(full, 'POST', '/fhir/Observation', named('changed'));
  const resourceId = JSON.parse(charted.text).id;
  const put = async () => {
    const answer = await fetch(`${guarded.service.url}/fhir/Observation/${resourceId}`, {
      method: 'PUT',
      headers: {
        ...{ authorization: `Bearer ${changer}`, 'content-type': 'application/fhir+json' },
        ...{ 'if-match': 'W/"1"' },
      },
      body: JSON.stringify({
        ...raw.level('changed', '10:00', 55, { identifier: null, focus: null, status: 'corrected' }),
        id: resourceId,
      }),
    });
    return { status: answer.status, text: await answer.text() };
  };
  const changed = await put();
  expect([changed.status, JSON.parse(changed.text).valueQuantity?.value]).toEqual([200, 55]);
  expect(await put()).toEqual({ status: 200, text: '' });
});

test('a client that may chart and not read is told that it has the wrong patient or side, and not whose the drain is, or where', async () => {
  const charter = await guarded.token({ scope: 'system/Observation.c' });
  const link = (key: string) => ({
    ...level(key, '12:00', 0),
    ...{ kind: 'drain-updated', level_ml: undefined, patient: { reference: 'Patient/9' } },
  });
  const sent = (token: string, key: string) =>
    guarded.send(token, 'POST', `/v1/drains/${mine}/entries`, link(key));
  const refused = await sent(charter, 'blind-link');
  expect([refused.status, refused.text]).toEqual([422, expect.stringContaining('linked to another')]);
  expect(refused.text).not.toContain('Patient/1');
  // Who may read is told which.
  expect((await sent(full, 'full-link')).text).toContain('linked to Patient/1');

  const rightSide = { bodySite: { coding: [{ system: 'http://snomed.info/sct', code: '44788007' }] } };
  const misplaced = (key: string) => ({ ...named(key), ...rightSide });
  const elsewhere = await guarded.send(charter, 'POST', '/fhir/Observation', misplaced('blind-side'));
  expect([elsewhere.status, elsewhere.text]).toEqual([422, expect.stringContaining('placed elsewhere')]);
  const told = await guarded.send(full, 'POST', '/fhir/Observation', misplaced('full-side'));
  expect(told.text).toContain('placed pleural-left');
});
