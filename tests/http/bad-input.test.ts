/** What is refused: each answer names the field, the value and the mend, and nothing is written. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { at, id, NURSE, placeDrain, placement, setUp, type TestDrain, tell } from './messages.ts';
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

const COMMON = JSON.stringify({ identifier: id('r1'), author: NURSE, effective_at: at('10:00') }).slice(
  1,
  -1,
);
const reading = (fields: string): string => `{"kind":"reading",${COMMON},${fields}}`;
const timed = (time: string): string => reading('"level_ml":1').replace(at('10:00'), time);

const NUMBER = 'send a plain number such as 12 or 12.5, without quotes';
const DECIMALS = 'send at most 3 decimals';
const DIGITS = 'send digits such as 1, 0.5 or 1.0';
const JSON_ONLY = 'send JSON by RFC 8259; NaN, Infinity, +1 and .5 are none';
const OFFSET = 'send RFC 3339 with offset, such as 2026-03-01T08:00:00+01:00';
const UNIT = 'send a plain number in cm[H2O], or a value and the UCUM code of a unit of the same kind';

type Case = readonly [
  name: string,
  body: string,
  status: number,
  pointer: string,
  value: string | undefined,
  mend: string,
];

const FIELDS: readonly Case[] = [
  ['null', reading('"level_ml":null'), 422, '/level_ml', 'null', NUMBER],
  ['true', reading('"level_ml":true'), 422, '/level_ml', 'true', NUMBER],
  ['a number as text', reading('"level_ml":"12"'), 422, '/level_ml', '"12"', NUMBER],
  ['a list of a number', reading('"level_ml":[12]'), 422, '/level_ml', '[12]', NUMBER],
  ['an unknown field', reading('"level":12'), 422, '/level', '12', 'remove it'],
  ['an unknown field within', reading('"suction":{"pump":"on"}'), 422, '/suction/pump', '"on"', 'remove it'],
  ['the field constructor', reading('"constructor":1'), 422, '/constructor', '1', 'remove it'],
  ['an exponent', reading('"level_ml":1e3'), 422, '/level_ml', '1e3', DECIMALS],
  ['4 decimals', reading('"level_ml":12.3450'), 422, '/level_ml', '12.3450', DECIMALS],
  [
    'too many digits',
    reading('"level_ml":12345678901234567890'),
    422,
    '/level_ml',
    '12345678901234567890',
    DECIMALS,
  ],
  ['a slip of the unit', reading('"level_ml":200000'), 422, '/level_ml', '200000', 'send at most 100000'],
  ['a negative level', reading('"level_ml":-5'), 422, '/level_ml', '-5', 'send 5: magnitudes are positive'],
  ['minus zero', reading('"level_ml":-0'), 422, '/level_ml', '-0', 'send 0: magnitudes are positive'],
  [
    'suction -20',
    reading('"suction":{"dial_cmh2o":-20}'),
    422,
    '/suction/dial_cmh2o',
    '-20',
    'send 20: magnitudes are positive',
  ],
  [
    'a word for another',
    reading('"tidaling":"yes"'),
    422,
    '/tidaling',
    '"yes"',
    'send one of "present", "absent", "not-assessed"',
  ],
  ['text for true', reading('"clamped":"true"'), 422, '/clamped', '"true"', 'send true or false'],
  ['1 for true', reading('"clamped":1'), 422, '/clamped', '1', 'send true or false'],
  ['a number for an object', reading('"suction":20'), 422, '/suction', '20', 'send an object'],
  ['a list for an object', reading('"seal":[]'), 422, '/seal', '[]', 'send an object'],
  ['empty text', reading('"note":""'), 422, '/note', '""', 'send at least 1 character'],
  [
    'text that is too long',
    reading(`"fluid_colour":"${'x'.repeat(41)}"`),
    422,
    '/fluid_colour',
    `"${'x'.repeat(41)}"`,
    'send at most 40 characters',
  ],
  [
    'half a grade',
    reading('"air_leak":{"grade":2.5}'),
    422,
    '/air_leak/grade',
    '2.5',
    'send a grade such as 0 or 3',
  ],
  [
    'a unit of another kind',
    reading('"seal":{"level_cmh2o":{"value":1,"unit":"mL"}}'),
    422,
    '/seal/level_cmh2o',
    '{"unit":"mL","value":1}',
    UNIT,
  ],
  [
    'a unit that is no UCUM code',
    reading('"seal":{"level_cmh2o":{"value":1,"unit":"cmH2O"}}'),
    422,
    '/seal/level_cmh2o',
    '{"unit":"cmH2O","value":1}',
    UNIT,
  ],
  [
    'a unit with a blank',
    reading('"seal":{"level_cmh2o":{"value":1,"unit":"cm H2O"}}'),
    422,
    '/seal/level_cmh2o',
    '{"unit":"cm H2O","value":1}',
    UNIT,
  ],
  [
    'a unit named like a built-in',
    reading('"seal":{"level_cmh2o":{"value":1,"unit":"constructor"}}'),
    422,
    '/seal/level_cmh2o',
    '{"unit":"constructor","value":1}',
    UNIT,
  ],
  [
    'an exponent with a unit',
    reading('"seal":{"level_cmh2o":{"value":1e3,"unit":"kPa"}}'),
    422,
    '/seal/level_cmh2o',
    '{"unit":"kPa","value":1e3}',
    UNIT,
  ],
  [
    'a converted number out of range',
    reading('"seal":{"level_cmh2o":{"value":-1.96,"unit":"kPa"}}'),
    422,
    '/seal/level_cmh2o',
    '{"unit":"kPa","value":-1.96}',
    'send 19.986: magnitudes are positive',
  ],
  ['no offset', timed('2025-03-01T10:00:00'), 422, '/effective_at', '"2025-03-01T10:00:00"', OFFSET],
  [
    'an impossible date',
    timed('2025-02-30T10:00:00Z'),
    422,
    '/effective_at',
    '"2025-02-30T10:00:00Z"',
    OFFSET,
  ],
  ['hour 24', timed('2025-03-01T24:00:00Z'), 422, '/effective_at', '"2025-03-01T24:00:00Z"', OFFSET],
  [
    'a number for a time',
    reading('"level_ml":1').replace(`"${at('10:00')}"`, '20250301'),
    422,
    '/effective_at',
    '20250301',
    'send text',
  ],
  [
    'no identifier',
    reading('"level_ml":1').replace('"identifier"', '"identifier_"'),
    422,
    '/identifier',
    undefined,
    'send an object',
  ],
  [
    'half an identifier',
    reading('"level_ml":1').replace('"value":"r1"', '"value":""'),
    422,
    '/identifier/value',
    '""',
    'send at least 1 character',
  ],
  [
    'an identifier of two lines',
    reading('"level_ml":1').replace('"r1"', '"r\\n1"'),
    422,
    '/identifier/value',
    '"r\\n1"',
    'send printable text',
  ],
  [
    'an author who is nobody',
    reading('"level_ml":1').replace(',"reference":"Practitioner/n1"', ''),
    422,
    '/author',
    '{"type":"person"}',
    "send 'reference' or 'identifier', or both",
  ],
  [
    'an unknown profile',
    `{"kind":"set-up",${COMMON},"profile":"none"}`,
    422,
    '/profile',
    '"none"',
    'send one of gravity-2000, wet-2000, dry-2000, wet-500-paediatric, electronic-800',
  ],
  [
    'an unknown profile in a correction',
    `{"kind":"corrected",${COMMON},"target":${JSON.stringify(id('set-up'))},"reason":"typed","replacement":{"kind":"set-up","effective_at":"${at('08:00')}","profile":"none"}}`,
    422,
    '/replacement/profile',
    '"none"',
    'send one of gravity-2000, wet-2000, dry-2000, wet-500-paediatric, electronic-800',
  ],
];

const TEXTS: readonly Case[] = [
  ['a duplicate key', reading('"level_ml":1,"level_ml":2'), 400, '/level_ml', 'level_ml', 'send it once'],
  [
    'a duplicate key within',
    reading('"seal":{"level_cmh2o":1,"level_cmh2o":1}'),
    400,
    '/seal/level_cmh2o',
    'level_cmh2o',
    'send it once',
  ],
  ['1.', reading('"level_ml":1.'), 400, '/level_ml', '1.', DIGITS],
  ['01', reading('"level_ml":01'), 400, '/level_ml', '01', DIGITS],
  ['1.5.2', reading('"level_ml":1.5.2'), 400, '/level_ml', '1.5.2', DIGITS],
  ['NaN', reading('"level_ml":NaN'), 400, '/level_ml', 'NaN}', JSON_ONLY],
  ['+1', reading('"level_ml":+1'), 400, '/level_ml', '+1}', JSON_ONLY],
  ['.5', reading('"level_ml":.5'), 400, '/level_ml', '.5}', JSON_ONLY],
  ['half a surrogate pair', reading('"note":"\\ud83d"'), 400, '/note', '"\\ud83d"', 'send whole characters'],
  ['the NUL character', reading('"note":"\\u0000"'), 400, '/note', '"\\u0000"', 'send it without'],
  ['__proto__', reading('"__proto__":{"level_ml":1}'), 400, '/__proto__', '__proto__', 'remove it'],
  [
    'deep nesting',
    reading(`"note":${'['.repeat(100)}1${']'.repeat(100)}`),
    400,
    `/note${'/0'.repeat(31)}`,
    '[',
    'nest less',
  ],
  ['text after the end', `${reading('"level_ml":1')} 2`, 400, '', '2', JSON_ONLY],
  ['half a message', reading('"level_ml":1').slice(0, -1), 400, '', 'the end of the text', JSON_ONLY],
];

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
    const correction = `{"kind":"corrected",${COMMON},"target":${JSON.stringify(id('set-up'))},"reason":"late","replacement":${JSON.stringify(replacement)}}`;
    expect(await refused(correction)).toMatchObject({
      status: 422,
      pointer: '/replacement/effective_at',
      value,
      mend,
    });
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
