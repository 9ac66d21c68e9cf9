/** What a confined client may see of trends, overview and live streams, and foresee of entries. */
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { type Guarded, startGuarded } from './access-control.ts';
import { entry, level, placement, setUp, voided } from './messages.ts';

let guarded: Guarded;
let full: string;
let mine: string;
let sibling: string;
let ofPatient: string;
let ofDrain: string;

beforeAll(async () => {
  guarded = await startGuarded();
  full = await guarded.token({ scope: 'system/*.cruds' });
  mine = await place('mine');
  sibling = await place('sibling');
  await chart(mine, setUp('mine-up', '08:00', 0), level('mine-1', '09:00', 50));
  ofPatient = await guarded.token({ scope: 'patient/Observation.crus', patient: '1' });
  ofDrain = guarded.key('system/Observation.crus', { patient: null, drain: mine });
  await vi.waitUntil(async () => (await status(ofDrain, 'GET', `/v1/drains/${mine}`)) === 200, {
    timeout: 5000,
  });
});
afterAll(() => guarded.stop());

const status = async (...call: Parameters<Guarded['send']>) => (await guarded.send(...call)).status;
const linked = (patient: string) => ({ patient: { reference: `Patient/${patient}` } });
async function place(key: string, patient: object = linked('1')): Promise<string> {
  const { text } = await guarded.send(full, 'POST', '/v1/drains', placement(key, '08:00', patient));
  return JSON.parse(text).drain;
}
async function chart(drain: string, ...messages: readonly object[]): Promise<void> {
  for (const message of messages)
    expect(await status(full, 'POST', `/v1/drains/${drain}/entries`, message)).toBe(201);
}

test('the ward is for nobody who is confined', async () => {
  for (const path of ['/v1/overview', '/v1/overview/live'])
    expect([await status(ofPatient, 'GET', path), await status(ofDrain, 'GET', path)]).toEqual([403, 403]);
  expect(await status(full, 'GET', '/v1/overview')).toBe(200);
});

test.each(['patient-trends', 'patient-windows'])(
  '%s are for who may see all drains of the patient',
  async (route) => {
    const path = `/v1/drains/${mine}/${route}`;
    expect(await status(ofPatient, 'GET', path)).toBe(200);
    const refused = await guarded.send(ofDrain, 'GET', path);
    expect([refused.status, refused.text.includes(sibling)]).toEqual([403, false]);
    expect(await status(ofDrain, 'GET', `/v1/drains/${mine}/trends`)).toBe(200);
  },
);

test('whose a drain was by mistake keeps nobody from the sums of those whose it is', async () => {
  const [moved, other] = [await place('moved', {}), await place('other', linked('3'))];
  await chart(moved, entry('mistaken', 'drain-updated', '08:30', linked('3')));
  const key = guarded.key('system/Observation.crus', { patient: null, drain: moved });
  await vi.waitUntil(async () => (await status(key, 'GET', `/v1/drains/${moved}`)) === 200, {
    timeout: 5000,
  });
  const answers = async (token: string) => {
    const [trends, windows] = [`/v1/drains/${moved}/patient-trends`, `/v1/drains/${moved}/patient-windows`];
    return [await guarded.send(token, 'GET', trends), await guarded.send(token, 'GET', windows)];
  };
  expect((await answers(key)).map((answer) => answer.status)).toEqual([403, 403]);
  await chart(moved, voided('undone', 'mistaken'), entry('right', 'drain-updated', '09:00', linked('4')));
  const ofFourth = await guarded.token({ scope: 'patient/Observation.crus', patient: '4' });
  for (const { status, text } of [...(await answers(key)), ...(await answers(ofFourth))])
    expect([status, text.includes(other)]).toEqual([200, false]);
});

test('a stream tells who is confined to a drain nothing of another drain of the patient', async () => {
  const listen = async (token: string) => {
    const headers = { authorization: `Bearer ${token}` };
    const { body } = await fetch(`${guarded.service.url}/v1/drains/${mine}/live`, { headers });
    const reader = body?.pipeThrough(new TextDecoderStream()).getReader();
    let text = '';
    return async (enough: RegExp): Promise<string> => {
      while (!enough.test(text)) text += (await reader?.read())?.value ?? '';
      await reader?.cancel();
      return text;
    };
  };
  const [drainOnly, whole] = [await listen(ofDrain), await listen(ofPatient)];
  await chart(sibling, setUp('sibling-up', '08:00', 0));
  await chart(mine, level('mine-2', '10:00', 60));
  expect(await whole(/"kind":"reading"/)).toContain(sibling);
  expect(await drainOnly(/"kind":"reading"/)).not.toContain(sibling);
});

test('a dry run is refused where the entry would be', async () => {
  const path = `/v1/drains/${mine}/entries?dry-run=true`;
  const charter = await guarded.token({ scope: 'system/Observation.c' });
  expect(await status(charter, 'POST', path, level('dry', '11:00', 70))).toBe(200);
  expect(await status(charter, 'POST', path, voided('dry-void', 'mine-1'))).toBe(403);
  const relink = entry('dry-link', 'drain-updated', '11:00', { patient: { reference: 'Patient/2' } });
  expect(await status(ofPatient, 'POST', path, relink)).toBe(403);
  expect(await status(ofDrain, 'POST', path.replace(mine, sibling), level('dry', '11:00', 70))).toBe(403);
  expect(await status(null, 'POST', path, level('dry', '11:00', 70))).toBe(401);
});
