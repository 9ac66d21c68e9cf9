/** Trends over the API: buckets and rows, gaps as gaps, units, entity tags, CSV that no spreadsheet runs. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { cellText } from '../../src/record/csv/cell-text.ts';
import { entry, level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
beforeAll(async () => {
  service = await startTestService({ DRAINLEDGER_ZONE: 'Europe/Berlin' });
  drain = await placeDrain(service, 'trend', '08:00', { patient: { reference: 'Patient/trend' } });
  const wet = (column: number, bubbling: string) => ({ source: 'on', column_cmh2o: column, bubbling });
  await tell(
    drain,
    entry('kg', 'weighed', '07:00', { weight_kg: 80 }),
    setUp('up', '08:00', 0),
    level('a', '09:00', 120, {
      suction: wet(20, 'gentle'),
      seal: { level_cmh2o: 5 },
      air_leak: { grade: 3, phase: 'expiratory' },
    }),
    level('b', '09:30', 130, { air_leak: { grade: 2, phase: 'expiratory' } }),
    entry('b-2', 'reading', '09:45', { air_leak: { grade: 1, phase: 'expiratory' } }),
    level('c', '10:00', 200, { suction: wet(20, 'none'), seal: { swing_low_cmh2o: 3, swing_high_cmh2o: 7 } }),
    entry('flush', 'instilled', '10:15', { volume_ml: 50, purpose: 'flush' }),
    level('d', '11:00', 240),
    // Four hours on: too long an interval to say which hour it drained in.
    level('e', '15:00', 300, { air_leak: { flow_ml_min: 30 } }),
    level('e-2', '15:30', 310),
    // Nothing explains this fall.
    level('f', '16:00', 200),
  );
});
afterAll(() => service.stop());

interface Point {
  readonly from: string;
  readonly to: string;
  readonly value: number | null;
  readonly reasons: readonly string[];
}

const trends = async (query: string, of = drain) => {
  const { status, text } = await service.send('GET', `/v1/drains/${of.drain}/trends?${query}`);
  expect(status).toBe(200);
  return JSON.parse(text);
};
const pointsOf = async (query: string): Promise<Record<string, Point[]>> => {
  const { series } = await trends(query);
  return Object.fromEntries(
    series.map((each: { name: string; points: Point[] }) => [each.name, each.points]),
  );
};
const SPAN = 'from=2025-03-01T08:00:00Z&to=2025-03-01T16:00:00Z';

describe('by clock hour', () => {
  test('volumes and rates with error and coverage; a negative hour stays negative', async () => {
    const { net, rate, rate_per_kg } = await pointsOf(`${SPAN}&series=net,rate,rate_per_kg`);
    expect(net?.map(({ value }) => value)).toEqual([120, 80, -10, null, null, null, null, null]);
    expect(net?.[0]).toMatchObject({ from: '2025-03-01T08:00:00Z', local_from: '2025-03-01T09:00:00+01:00' });
    expect(net?.[1]).toMatchObject({ uncertainty: 4.1, coverage: 1, at_least: false, reasons: [] });
    expect(rate?.[1]).toMatchObject({ value: 80, uncertainty: 4.1 });
    // 80 mL/h over 80 kg.
    expect(rate_per_kg?.[1]).toMatchObject({ value: 1, uncertainty: 0.05 });
  });

  test('a gap is a gap with its reason, never 0', async () => {
    const { net, rate } = await pointsOf(`${SPAN}&series=net,rate`);
    expect(net?.[3]).toMatchObject({ value: null, reasons: ['gap-too-long'], coverage: 0 });
    expect(net?.[7]).toMatchObject({ value: null, reasons: ['suspect-rise', 'unexplained-fall'] });
    expect(rate?.[3]).toMatchObject({ value: null, reasons: ['not-covered'] });
  });

  test('a leak counts at its worst, a pressure as read last, each with its range', async () => {
    const { leak_grade, seal, suction, total_negativity } = await pointsOf(
      `${SPAN}&series=leak_grade,seal,suction,total_negativity`,
    );
    expect(leak_grade?.[0]).toMatchObject({ value: 3, low: 3, high: 3, readings: 1, scale_max: 5 });
    expect(leak_grade?.[1]).toMatchObject({ value: 2, low: 1, high: 2, readings: 2 });
    expect(leak_grade?.[2]).toMatchObject({ value: null, reasons: ['no-reading'], readings: 0 });
    expect(seal?.[1]).toMatchObject({ value: null, low: 3, high: 7, reasons: ['only-seal-swing-charted'] });
    expect(suction?.[1]).toMatchObject({ value: 20 });
    expect(total_negativity?.[0]).toMatchObject({ value: 25, reasons: [] });
    expect(total_negativity?.[1]).toMatchObject({ value: null, low: 3, high: 27, reasons: ['no-bubbling'] });
  });

  test('a cumulative sum in doubt has no value but the sum of what was measured', async () => {
    const { cumulative, window_4h } = await pointsOf(`${SPAN}&series=cumulative,window_4h`);
    expect(cumulative?.[2]).toMatchObject({ value: 190, reasons: [] });
    expect(cumulative?.[7]).toMatchObject({ value: null, low: 250 });
    expect(window_4h?.[2]).toMatchObject({ value: 190, at_least: true, coverage: 0.75 });
  });
});

describe('in other buckets', () => {
  test('as charted: one point a row, over its interval or at its moment', async () => {
    const { net, leak_flow } = await pointsOf(`${SPAN}&series=net,leak_flow&bucket=raw`);
    expect(net?.map(({ value }) => value)).toEqual([120, 10, 70, -10, 60, 10, null]);
    expect(net?.[5]).toMatchObject({ from: '2025-03-01T15:00:00Z', flags: ['suspect'] });
    expect(net?.[6]).toMatchObject({ reasons: ['unexplained-fall'] });
    expect(leak_flow).toMatchObject([
      { from: '2025-03-01T15:00:00Z', to: '2025-03-01T15:00:00Z', value: 30 },
    ]);
  });

  test('by quarter of an hour', async () => {
    const { net, rate } = await pointsOf(
      'series=net,rate&bucket=15min&from=2025-03-01T09:00:00Z&to=2025-03-01T10:00:00Z',
    );
    // 10 mL in the first half hour, 70 in the second, each spread evenly.
    expect(net?.map(({ value }) => value)).toEqual([5, 5, 35, 35]);
    expect(net?.[0]).toMatchObject({ flags: expect.arrayContaining(['interpolated']), low: 0, high: 10 });
    expect(rate?.[2]).toMatchObject({ value: 140 });
  });

  test('by shift and day of the facility', async () => {
    const { series } = await trends(`${SPAN}&series=net&bucket=shift`);
    expect(series[0].points).toMatchObject([
      {
        local_from: '2025-03-01T07:00:00+01:00',
        local_to: '2025-03-01T19:00:00+01:00',
        value: 250,
        at_least: true,
      },
    ]);
    expect((await trends(`${SPAN}&bucket=day`)).series[0].points).toHaveLength(1);
  });

  test('by default the 24 hours up to the newest statement, net and rate', async () => {
    const body = await trends('');
    expect(body).toMatchObject({
      bucket: 'hour',
      as_of: '2025-03-01T16:00:00Z',
      from: '2025-02-28T16:00:00Z',
      calendar: { zone: 'Europe/Berlin' },
    });
    expect(body.series.map(({ name, unit }: { name: string; unit: string }) => [name, unit])).toEqual([
      ['net', 'mL'],
      ['rate', 'mL/h'],
    ]);
    expect(body.series[0].points[0]).toMatchObject({ value: null, reasons: ['not-in-place'] });
  });

  test('of a drain of which nothing is charted there is nothing', async () => {
    const bare = await placeDrain(service, 'bare');
    const voided = entry('bare-void', 'entered-in-error', '09:00', {
      target: { system: 'urn:example:ward', value: 'bare' },
      reason: 'never placed',
    });
    await tell(bare, voided);
    expect(await trends('', bare)).toMatchObject({ as_of: null, from: null, series: [] });
  });
});

test('all drains of the patient: sums together, and each by itself', async () => {
  const patient = { patient: { reference: 'Patient/two' } };
  const [first, second] = [
    await placeDrain(service, 'two-1', '08:00', patient),
    await placeDrain(service, 'two-2', '08:00', patient),
  ];
  await tell(
    first,
    setUp('two-1-up', '08:00', 0),
    level('two-1-a', '09:00', 100, { seal: { level_cmh2o: 4 } }),
    level('two-1-b', '10:00', 130),
  );
  await tell(second, setUp('two-2-up', '08:00', 0), level('two-2-a', '09:00', 20));
  const query = 'series=net,cumulative,rate,seal&from=2025-03-01T08:00:00Z&to=2025-03-01T10:00:00Z';
  const { text } = await service.send('GET', `/v1/drains/${first.drain}/patient-trends?${query}`);
  const body = JSON.parse(text);
  expect(body.patient).toEqual({ reference: 'Patient/two' });
  const together = Object.fromEntries(
    body.series.map((each: { name: string; points: Point[] }) => [each.name, each.points]),
  );
  expect(Object.keys(together)).toEqual(['net', 'cumulative', 'rate']);
  // Uncertainties add in squares: 4.08 and 4.08 give 5.8 mL.
  expect(together.net).toMatchObject([
    { value: 120, uncertainty: 5.8, at_least: false },
    { value: 30, at_least: true, reasons: ['after-last-level'] },
  ]);
  expect(together.cumulative.map(({ value }: Point) => value)).toEqual([120, 150]);
  expect(together.rate).toMatchObject([{ value: 120 }, { value: null, reasons: ['not-covered'] }]);
  expect(body.drains.map((each: { drain: string }) => each.drain).sort()).toEqual(
    [first.drain, second.drain].sort(),
  );
});

describe('an entity tag', () => {
  const ask = (path: string, headers: object = {}) =>
    service.send('GET', `/v1/drains/${path}`, undefined, headers);

  test('spares the answer while nothing was charted, of this drain or of its patient', async () => {
    const own = await placeDrain(service, 'tagged', '08:00', { patient: { reference: 'Patient/tag' } });
    const other = await placeDrain(service, 'tagged-2', '08:00', { patient: { reference: 'Patient/tag' } });
    const routes = ['trends', 'patient-trends', 'plot.svg', 'plot.png'];
    for (const path of routes.map((route) => `${own.drain}/${route}`)) {
      const tag = (await ask(path)).headers.get('etag') ?? '';
      expect(tag).toMatch(/^"[\w-]{27}"$/);
      const again = await ask(path, { 'if-none-match': `"x", W/${tag}` });
      expect([again.status, again.text, again.headers.get('etag')]).toEqual([304, '', tag]);
      await tell(other, entry(`kg-${path}`, 'weighed', '09:00', { weight_kg: 70 }));
      expect((await ask(path, { 'if-none-match': tag })).status).toBe(200);
    }
  });

  test('differs by what is asked, and by the form of the answer', async () => {
    const tags = await Promise.all(
      ['', '?bucket=day', '?format=csv'].map(async (query) =>
        (await ask(`${drain.drain}/trends${query}`)).headers.get('etag'),
      ),
    );
    expect(new Set(tags).size).toBe(3);
  });
});

describe('as CSV', () => {
  const csv = async (query: string, accept = '*/*') =>
    service.send('GET', `/v1/drains/${drain.drain}/trends?${query}`, undefined, { accept });

  test('units stand in the headings, numbers plain, gaps empty with their reason', async () => {
    const { text, headers } = await csv(`${SPAN}&series=net,leak_grade&format=csv`);
    expect(headers.get('content-type')).toBe('text/csv; charset=utf-8; header=present');
    const [head = '', first = '', , third = '', fourth = '', ...rest] = text.split('\r\n');
    expect(head.split(',').slice(0, 6)).toEqual(
      ['from (UTC)', 'to (UTC)', 'from (local', ' Europe/Berlin)"', 'to (local', ' Europe/Berlin)"'].map(
        (cell) => (cell.endsWith('(local') ? `"${cell}` : cell),
      ),
    );
    expect(head).toContain(
      'net (mL),net low (mL),net high (mL),net uncertainty k=2 (mL),net coverage (0 to 1)',
    );
    expect(head).toContain('leak grade (grade)');
    expect(first).toMatch(
      /^2025-03-01T08:00:00Z,2025-03-01T09:00:00Z,.*,120,120,120,4.1,1,false,,,3,3,3,,,false,,,5$/,
    );
    expect(third).toMatch(/,-10,/);
    expect(fourth).toMatch(/,,,,,0,false,gap-too-long,,/);
    expect(rest.at(-1)).toBe('');
  });

  test('by Accept, unless JSON is wanted before it', async () => {
    const type = async (accept: string) => (await csv('', accept)).headers.get('content-type')?.split(';')[0];
    expect(await type('text/csv')).toBe('text/csv');
    expect(await type('application/json, text/csv')).toBe('application/json');
    expect(await type('*/*')).toBe('application/json');
  });

  test('several rows at one moment stand below each other', async () => {
    const own = await placeDrain(service, 'csv-twice', '08:00');
    const seal = (level_cmh2o: number) => ({ seal: { level_cmh2o } });
    await tell(
      own,
      entry('csv-a', 'reading', '09:00', seal(4)),
      entry('csv-b', 'reading', '09:00', seal(5)),
      entry('csv-c', 'reading', '10:00', seal(6)),
    );
    const query = 'bucket=raw&series=seal&format=csv&from=2025-03-01T08:00:00Z';
    const { text } = await service.send('GET', `/v1/drains/${own.drain}/trends?${query}`);
    const lines = text.trim().split('\r\n').slice(1);
    expect(lines.map((line) => line.split(',')[4])).toEqual(['4', '5', '6']);
  });

  test.each([
    ['=1+1', "'=1+1"],
    ['+1', "'+1"],
    ['-1', "'-1"],
    ['@SUM(A1)', "'@SUM(A1)"],
    ['\tx', "'\tx"],
    ['a,b', '"a,b"'],
    ['say "x"', '"say ""x"""'],
    ['plain', 'plain'],
  ])('text %j is written %j (OWASP, CSV injection)', (cell, written) => {
    expect(cellText(cell)).toBe(written);
  });
  test('a number is a number, a negative one too', () => {
    expect([cellText(-20), cellText(0), cellText(null), cellText(true)]).toEqual(['-20', '0', '', 'true']);
  });
});

test.each([
  ['series=net,nothing', '?series', 'names something that is not known here'],
  ['bucket=week', '?bucket', ''],
  ['last_h=0', '?last_h', 'is no whole number from 1 to 8784'],
  ['last_h=1e3', '?last_h', 'is no whole number from 1 to 8784'],
  ['from=2025-03-01', '?from', 'is no moment with an offset'],
  ['from=2025-03-01T09:00:00Z&last_h=3', '?last_h', 'stands beside from'],
  ['from=2025-03-01T09:00:00Z&to=2025-03-01T09:00:00Z', '?from', 'is not before to'],
  ['bucket=15min&last_h=8000', '?last_h', 'gives more than 1400 buckets, or 5000 rows'],
  ['period=PT24H', '?period', 'is no parameter of this'],
])('%s is refused, naming the parameter and the mend', async (query, pointer, detail) => {
  const { status, text, headers } = await service.send('GET', `/v1/drains/${drain.drain}/trends?${query}`);
  const { errors } = JSON.parse(text);
  expect([status, errors[0].pointer, headers.get('etag')]).toEqual([400, pointer, null]);
  expect(errors[0].detail).toContain(detail);
  expect(errors[0].mend).not.toBe('');
});

test('an unknown drain is said to be one', async () => {
  for (const route of ['trends', 'patient-trends', 'plot.svg', 'plot.png'])
    expect((await service.send('GET', `/v1/drains/none/${route}`)).status).toBe(404);
});
