/** What is refused: each answer names the field, the value and the mend, and nothing is written. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { COMMON, FIELDS, reading, timed } from './bad-messages.ts';
import { TEXTS } from './bad-texts.ts';
import { at, id, placeDrain, placement, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
let entriesPath: string;
let before: string;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed');
  await tell(drain, setUp('set-up', '08:00', 0));
  entriesPath = `/v1/drains/${drain.drain}/entries`;
  before = await written();
});
afterAll(() => service.stop());

const written = async (): Promise<string> =>
  `${await drain.ledger()}${(await service.send('GET', '/v1/drains')).text}`;

interface Problem {
  readonly status: number;
  readonly detail: string;
  readonly errors?: readonly {
    readonly pointer: string;
    readonly value?: string;
    readonly detail: string;
    readonly mend: string;
  }[];
}

async function refused(body: string | object | Buffer | undefined, headers?: object, path = entriesPath) {
  const answer = await service.send('POST', path, body, headers);
  expect(answer.headers.get('content-type')).toBe('application/problem+json; charset=utf-8');
  expect(await written()).toBe(before);
  const problem = JSON.parse(answer.text) as Problem;
  expect(problem.status).toBe(answer.status);
  const [error] = problem.errors ?? [];
  return { status: answer.status, pointer: error?.pointer, value: error?.value, mend: error?.mend, problem };
}

const correctionTo = (replacement: object): string =>
  `{"kind":"corrected",${COMMON},"target":${JSON.stringify(id('set-up'))},"reason":"late","replacement":${JSON.stringify(replacement)}}`;

describe('a message is refused', () => {
  test.each([...FIELDS, ...TEXTS])('%s', async (_name, body, status, pointer, value, mend) => {
    const { problem, ...seen } = await refused(body);
    expect(seen).toEqual({ status, pointer, value, mend });
    expect(problem.detail).toContain(mend);
  });

  test.each([
    ['null', 'null'],
    ['a number', '5'],
    ['a list', '[]'],
    ['text', '"reading"'],
  ])('%s in place of a message', async (_name, body) => {
    expect(await refused(body)).toMatchObject({
      status: 422,
      pointer: '',
      value: body,
      mend: 'send an object',
    });
    expect(await refused(body, undefined, '/v1/drains')).toMatchObject({ status: 422, pointer: '' });
  });

  test('a kind that is none, and no kind', async () => {
    const other = await refused(reading('"level_ml":1').replace('"reading"', '"level"'));
    expect(other).toMatchObject({ status: 422, pointer: '/kind', value: '"level"' });
    expect(other.mend).toContain('"reading", "unit-changed"');
    expect(await refused(`{${COMMON}}`)).toMatchObject({ status: 422, pointer: '/kind', value: undefined });
  });

  test('all that is wrong is told at once', async () => {
    const { problem } = await refused(reading('"level_ml":-5,"tidaling":"yes","drain":"x"'));
    expect(problem.errors?.map(({ pointer }) => pointer).sort()).toEqual([
      '/drain',
      '/level_ml',
      '/tidaling',
    ]);
  });

  // FHIR R4 observation.html (subject, encounter): another type would be refused by whoever receives it.
  test.each([
    ['patient', 'Device/7', 'send Patient/id'],
    ['encounter', 'EpisodeOfCare/7', 'send Encounter/id'],
  ])('a placement whose %s is %s', async (field, reference, mend) => {
    const seen = await refused({ ...placement('p2'), [field]: { reference } }, undefined, '/v1/drains');
    expect(seen).toMatchObject({
      status: 422,
      pointer: `/${field}/reference`,
      value: `"${reference}"`,
      mend,
    });
  });

  test('a placement of an unknown site', async () => {
    const seen = await refused({ ...placement('p2'), site: 'knee' }, undefined, '/v1/drains');
    expect(seen).toMatchObject({ status: 422, pointer: '/site', value: '"knee"' });
  });

  test("a person's time more than 5 minutes ahead, in a correction too", async () => {
    const ahead = new Date(Date.now() + 6 * 60_000).toISOString();
    const mend = expect.stringMatching(/^send a time no later than 5 minutes after now, \d{4}-/);
    const value = JSON.stringify(ahead);
    expect(await refused(timed(ahead))).toMatchObject({ status: 422, pointer: '/effective_at', value, mend });
    const replacement = { kind: 'set-up', effective_at: ahead, profile: 'wet-2000' };
    expect(await refused(correctionTo(replacement))).toMatchObject({
      status: 422,
      pointer: '/replacement/effective_at',
      value,
      mend,
    });
  });

  test.each([
    ['a reading of nothing', `{"kind":"reading",${COMMON}}`, ''],
    ['a reading of nothing but words', `{"kind":"reading",${COMMON},"note":"asleep"}`, ''],
    ['a reading of empty groups', `{"kind":"reading",${COMMON},"suction":{},"air_leak":{}}`, ''],
    ['new facts that are none', `{"kind":"drain-updated",${COMMON}}`, ''],
    [
      'a correction to a reading of nothing',
      correctionTo({ kind: 'reading', effective_at: at('08:00') }),
      '/replacement',
    ],
  ])('%s, which would pass for a look at the drain', async (_name, body, pointer) => {
    const seen = await refused(body);
    expect(seen).toMatchObject({
      status: 422,
      pointer,
      mend: expect.stringMatching(/^send at least one of /),
    });
    expect(seen.problem.errors?.[0]?.detail).toBe('charts nothing');
  });

  test('an unknown drain', async () => {
    const seen = await refused(reading('"level_ml":1'), undefined, '/v1/drains/nowhere/entries');
    expect(seen).toMatchObject({
      status: 404,
      pointer: '/drain',
      value: '"nowhere"',
      mend: 'place the drain first: POST /v1/drains',
    });
  });
});

describe('a body is refused by what its headers say', () => {
  const good = reading('"level_ml":1');
  test.each([
    ['text/plain', { 'content-type': 'text/plain' }, 'content-type', 'text/plain', 'send application/json'],
    [
      'XML',
      { 'content-type': 'application/xml' },
      'content-type',
      'application/xml',
      'send application/json',
    ],
    [
      'a form',
      { 'content-type': 'application/x-www-form-urlencoded' },
      'content-type',
      'application/x-www-form-urlencoded',
      'send application/json',
    ],
    [
      'a type that only begins like JSON',
      { 'content-type': 'application/jsonp' },
      'content-type',
      'application/jsonp',
      'send application/json',
    ],
    [
      'gzip',
      { 'content-type': 'application/json', 'content-encoding': 'gzip' },
      'content-encoding',
      'gzip',
      'send the body as it is',
    ],
    [
      'latin-1',
      { 'content-type': 'application/json; charset=iso-8859-1' },
      'content-type',
      'iso-8859-1',
      'send UTF-8',
    ],
    [
      'utf-16 in quotes',
      { 'content-type': 'application/json;charset="UTF-16"' },
      'content-type',
      'UTF-16',
      'send UTF-8',
    ],
  ])('%s', async (_name, headers, pointer, value, mend) => {
    expect(await refused(good, headers)).toMatchObject({ status: 415, pointer, value, mend });
  });

  test('no body at all', async () => {
    expect(await refused(undefined, {})).toMatchObject({ status: 422, pointer: '', mend: 'send an object' });
    expect(await refused('', { 'content-type': 'application/json' })).toMatchObject({
      status: 400,
      pointer: '',
    });
  });

  test('bytes that are no UTF-8', async () => {
    const body = Buffer.concat([
      Buffer.from(reading('"note":"').slice(0, -1)),
      Buffer.from([0xe9]),
      Buffer.from('"}'),
    ]);
    expect(await refused(body)).toMatchObject({ status: 400, pointer: '', mend: 'send JSON in UTF-8' });
  });

  test('a body that is too large', async () => {
    const seen = await refused(reading(`"note":"${'x'.repeat(300_000)}"`));
    expect(seen.status).toBe(413);
    expect(seen.problem.detail).toBe('The body is over 262144 bytes: send less at once.');
  });

  test.each(['application/json; charset=utf-8', 'application/json;charset="UTF-8"', 'APPLICATION/JSON'])(
    '%s is accepted',
    async (contentType) => {
      const key = `accepted-${contentType}`;
      const body = reading('"tidaling":"present"').replace('"r1"', JSON.stringify(key));
      const answer = await service.send('POST', entriesPath, body, { 'content-type': contentType });
      expect(answer.status).toBe(201);
      before = await written();
    },
  );
});
