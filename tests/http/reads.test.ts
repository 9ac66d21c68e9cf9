/** What can be read: lists by page, entries with their digits, chart and state as of a time. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { entry, level, placeDrain, placement, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(drain, setUp('set-up', '08:00', 0), level('a', '09:00', 100), level('b', '11:00', 180));
});
afterAll(() => service.stop());

const get = async (path: string) => {
  const { status, text } = await service.send('GET', path);
  return { status, body: JSON.parse(text), text };
};

describe('drains', () => {
  test('come by page, each once, in order', async () => {
    const more = Array.from({ length: 101 }, (_, n) => placement(`more-${n}`));
    await Promise.all(more.map((body) => service.send('POST', '/v1/drains', body)));
    const names: string[] = [];
    let pages = 0;
    for (let next: string | null = ''; next !== null; pages += 1) {
      const { body } = await get(`/v1/drains${next === '' ? '' : `?after=${next}`}`);
      names.push(...body.drains.map((each: { drain: string }) => each.drain));
      next = body.next_after;
    }
    expect(pages).toBe(3);
    expect(names).toHaveLength(102);
    expect(new Set(names).size).toBe(102);
    expect(names).toEqual([...names].sort());
    expect(names).toContain(drain.drain);
  });

  test('one drain says what it is', async () => {
    const { body } = await get(`/v1/drains/${drain.drain}`);
    expect(body).toMatchObject({
      patient: { reference: 'Patient/1' },
      site: 'pleural-left',
      tubes: ['A'],
      placed_at: '2025-03-01T08:00:00Z',
      removed_at: null,
    });
  });
});

describe('entries', () => {
  test('keep every digit and offset as it was sent', async () => {
    const own = await placeDrain(service, 'digits');
    const text = (volume: string, key: string) =>
      `{"identifier":{"system":"s","value":"${key}"},"author":{"type":"person","reference":"Practitioner/n1"},"effective_at":"2025-03-01T09:00:00.5+01:30","kind":"sampled","volume_ml":${volume}}`;
    expect((await own.enter(text('2.0', 'd1'))).status).toBe(201);
    expect((await own.enter(text('2', 'd2'))).status).toBe(201);
    expect((await own.enter(text('0.250', 'd3'))).status).toBe(201);
    const ledger = await own.ledger();
    for (const digits of ['"volume_ml":2.0}', '"volume_ml":2}', '"volume_ml":0.250}'])
      expect(ledger).toContain(digits);
    expect(ledger).toContain('"effective_at":"2025-03-01T09:00:00.5+01:30"');
  });

  test('a quantity in another unit is converted and kept as sent', async () => {
    const own = await placeDrain(service, 'units');
    const sent = { value: 1.96, unit: 'kPa' };
    await tell(
      own,
      setUp('units-up', '08:00', 0, 'dry-2000'),
      entry('units-1', 'reading', '09:00', {
        level_ml: { value: 0.15, unit: 'L' },
        suction: { source: 'on', dial_cmh2o: sent, indicator: 'in-range' },
        seal: { level_cmh2o: { value: 2, unit: 'cm[H2O]' } },
      }),
    );
    const ledger = await own.ledger();
    expect(ledger).toContain('"dial_cmh2o":19.986');
    expect(ledger).toContain('"level_ml":150');
    expect(JSON.parse(ledger).entries.at(-1).body.as_sent).toEqual([
      { field: '/level_ml', unit: 'L', value: '0.15' },
      { field: '/suction/dial_cmh2o', unit: 'kPa', value: '1.96' },
    ]);
    expect((await own.row('units-1')).total_negativity).toEqual({ value_cmh2o: 21.986 });
  });

  test('come by page', async () => {
    const own = await placeDrain(service, 'long');
    const items = Array.from({ length: 500 }, (_, n) => ({
      drain: own.drain,
      ...entry(`long-${n}`, 'negativity-vented', '09:00'),
    }));
    await service.send('POST', '/v1/entries', { entries: items });
    const first = await get(`/v1/drains/${own.drain}/entries`);
    expect(first.body.entries).toHaveLength(500);
    expect(first.body.next_after).toBe(500);
    const second = await get(`/v1/drains/${own.drain}/entries?after=500`);
    expect(second.body).toMatchObject({ entries: [{ sequence: 501 }], next_after: null });
    expect((await get(`/v1/drains/${own.drain}/entries?after=501`)).body.entries).toEqual([]);
  });
});

describe('as of a time', () => {
  test('the chart and the state hold what is charted up to it', async () => {
    const asOf = '2025-03-01T10:30:00Z';
    const chart = await get(`/v1/drains/${drain.drain}/chart?as_of=${asOf}`);
    const keys = chart.body.rows.map((row: { identifier: { value: string } }) => row.identifier.value);
    expect(keys).toEqual(['placed', 'set-up', 'a']);
    const state = await get(`/v1/drains/${drain.drain}/state?as_of=${asOf}`);
    expect(state.body).toMatchObject({
      as_of: '2025-03-01T10:30:00.000Z',
      level_ml: 100,
      fill_fraction: 0.05,
      unit: { id: 'wet-2000', capacity_ml: 2000 },
      last_reading: { age_s: 5400, identifier: { value: 'a' } },
      last_volumes: { interval: { net_ml: 100 }, age_s: 5400 },
      last_total_negativity: null,
    });
  });

  test('an offset in the query is percent-encoded; the boundary itself is in', async () => {
    const { body } = await get(`/v1/drains/${drain.drain}/state?as_of=2025-03-01T12:00:00%2B01:00`);
    expect(body).toMatchObject({ level_ml: 180, last_reading: { age_s: 0 } });
  });

  test('without it the age runs to now', async () => {
    const { body } = await get(`/v1/drains/${drain.drain}/state`);
    const age = (Date.now() - Date.parse('2025-03-01T11:00:00Z')) / 1000;
    expect(Math.abs(body.last_reading.age_s - age)).toBeLessThan(10);
  });

  test('a drain of which nothing is known has nulls, not zeros', async () => {
    const bare = await placeDrain(service, 'bare');
    const { body } = await get(`/v1/drains/${bare.drain}/state`);
    expect(body).toMatchObject({ unit: null, level_ml: null, fill_fraction: null, last_volumes: null });
  });
});

describe('a question is refused', () => {
  const paths = ['', '/chart', '/state', '/entries'];
  test.each(paths)('about an unknown drain%s: 404', async (path) => {
    const { status, body } = await get(`/v1/drains/nowhere${path}`);
    expect(status).toBe(404);
    expect(body.errors[0]).toMatchObject({ pointer: '/drain', value: '"nowhere"' });
  });

  test.each([
    ['/v1?x=1', '?x', '"1"', 'leave it out: none is known here'],
    ['/v1/unit-profiles?x=1', '?x', '"1"', 'leave it out: none is known here'],
    ['/livez?x=1', '?x', '"1"', 'leave it out: none is known here'],
    ['/v1/drains?page=2', '?page', '"2"', 'send only after'],
    ['/v1/drains?__proto__=2', '?__proto__', '"2"', 'send only after'],
    ['/v1/drains/nowhere/chart?asof=x', '?asof', '"x"', 'send only as_of, from'],
    ['/v1/drains/nowhere/chart?as_of=x&as_of=y', '?as_of', '["x","y"]', 'send it once'],
    ['/v1/drains/nowhere/entries?after=0x10', '?after', '"0x10"', 'send the next_after of the page before'],
    ['/v1/drains/nowhere/entries?after=', '?after', '""', 'send the next_after of the page before'],
    ['/v1/drains/nowhere/entries?after=-1', '?after', '"-1"', 'send the next_after of the page before'],
    [
      '/v1/drains/nowhere/state?as_of=2025-03-01T10:00:00+01:00',
      '?as_of',
      '"2025-03-01T10:00:00 01:00"',
      'send RFC 3339, such as 2026-03-01T08:00:00Z, with + written %2B',
    ],
  ])('%s', async (path, pointer, value, mend) => {
    const { status, body } = await get(path);
    expect(status).toBe(400);
    expect(body.errors).toEqual([expect.objectContaining({ pointer, value, mend })]);
  });
});

describe('paths and methods', () => {
  test.each([
    ['DELETE', '/v1/drains', 'GET, HEAD, POST'],
    ['PUT', '/v1/drains/x/entries', 'GET, HEAD, POST'],
    ['POST', '/v1/drains/x', 'GET, HEAD'],
    ['GET', '/v1/entries', 'POST'],
    ['OPTIONS', '/v1/entries', 'POST'],
    ['POST', '/v1', 'GET, HEAD'],
  ])('%s %s: 405, allowed are %s', async (method, path, allow) => {
    const body = method === 'GET' ? undefined : 'no JSON';
    const { status, headers, text } = await service.send(method, path, body, { 'content-type': 'text/csv' });
    expect(status).toBe(405);
    expect((headers.get('allow') ?? '').split(', ').sort().join(', ')).toBe(allow);
    expect(JSON.parse(text).type).toBe('urn:drainledger:problem:method-not-allowed');
  });

  test.each(['/page', '/v2', '/v1/drains/x/y', '/v1/drains/x/chart/', '/openapi.yaml'])(
    '%s: 404',
    async (path) => {
      for (const method of ['GET', 'POST']) {
        const { status, headers } = await service.send(method, path, method === 'GET' ? undefined : 'x', {});
        expect(status).toBe(404);
        expect(headers.get('allow')).toBeNull();
      }
    },
  );

  test.each([
    ['/v1/drains/%zz', 400],
    [`/v1/drains/${'x'.repeat(200)}`, 414],
  ])('%s: %i', async (path, status) => {
    expect((await service.send('GET', path)).status).toBe(status);
  });

  test('HEAD answers as GET does, without a body', async () => {
    const path = `/v1/drains/${drain.drain}`;
    const [head, whole] = [await service.send('HEAD', path), await service.send('GET', path)];
    expect(head).toMatchObject({ status: 200, text: '' });
    expect(head.headers.get('content-length')).toBe(String(Buffer.byteLength(whole.text)));
    expect((await service.send('HEAD', '/v1/drains/nowhere')).status).toBe(404);
  });

  test('answers are kept out of caches', async () => {
    expect((await service.send('GET', '/v1/drains')).headers.get('cache-control')).toBe('no-store');
  });

  test('the way in says what to keep in mind', async () => {
    expect((await get('/v1')).body.cautions[0]).toMatch(/^Not an alarm/);
    expect((await get('/v1/unit-profiles')).body.profiles[0]).toMatchObject({ capacity_ml: 2000 });
    expect((await get('/livez')).body).toEqual({ alive: true });
    expect((await get('/readyz')).body).toMatchObject({ ready: true });
  });
});
