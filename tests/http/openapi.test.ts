/** The API reference: made from the code, whole, and the same as the committed file. */
import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import fastify from 'fastify';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { z } from 'zod';
import { writeOpenApi } from '../../src/http/openapi.ts';
import { CAUTIONS } from '../../src/http/parts.ts';
import { json, type RouteDoc } from '../../src/http/route-doc.ts';
import { collectRoutes } from '../../src/http/routes.ts';
import { entry, level, placement, setUp } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let text: string;

interface Operation {
  readonly operationId: string;
  readonly description: string;
  readonly parameters?: readonly { readonly name: string; readonly in: string; readonly schema: object }[];
  readonly responses: Readonly<Record<string, { readonly headers?: object }>>;
}
interface Document {
  readonly info: { readonly description: string };
  readonly paths: Readonly<Record<string, Readonly<Record<string, Operation>>>>;
  readonly components: { readonly schemas: Readonly<Record<string, object>> };
}
let document: Document;

beforeAll(async () => {
  service = await startTestService();
  ({ text } = await service.send('GET', '/openapi.json'));
  document = JSON.parse(text);
});
afterAll(() => service.stop());

const operations = () =>
  Object.entries(document.paths).flatMap(([path, methods]) =>
    Object.entries(methods).map(([method, operation]) => ({ path, method, operation })),
  );

test('the committed file is what the code gives; else: npm run openapi', () => {
  const committed = readFileSync(new URL('../../openapi/openapi.json', import.meta.url), 'utf8');
  expect(committed === text).toBe(true);
});

test('every reference leads somewhere, every component is used', () => {
  const references = new Set([...text.matchAll(/"\$ref": "([^"]+)"/g)].map(([, to]) => to));
  expect(references.size).toBeGreaterThan(50);
  const known = Object.keys(document.components.schemas).map((name) => `#/components/schemas/${name}`);
  expect([...references].sort()).toEqual(known.sort());
});

test('every operation has a name of its own, answers for good and bad, and a caution', () => {
  const names = operations().map(({ operation }) => operation.operationId);
  expect(new Set(names).size).toBe(names.length);
  for (const { path, method, operation } of operations()) {
    const name = `${method} ${path}`;
    expect(operation.description, name).toContain(CAUTIONS[0]);
    expect(Object.keys(operation.responses), name).toContain('default');
    expect(
      Object.keys(operation.responses).some((status) => status.startsWith('2')),
      name,
    ).toBe(true);
  }
  for (const caution of CAUTIONS) expect(document.info.description).toContain(caution);
});

test('it names every route that there is: each answers by another status than 404 for its path', async () => {
  for (const { path, method } of operations()) {
    const real = path.replaceAll(/\{\w+\}/g, 'x');
    const answer = await service.send(method.toUpperCase(), real, method === 'get' ? undefined : '{}');
    expect(answer.text, `${method} ${path}`).not.toContain('no-such-route');
    expect(answer.text, `${method} ${path}`).not.toContain('at this path is not known');
  }
});

test('schemas are JSON Schema of draft 2020-12, and accept and refuse what the service does', () => {
  const ajv = new Ajv2020({ strict: false, multipleOfPrecision: 6, formats: { 'date-time': true } });
  ajv.addSchema(document, 'openapi');
  const validate = (name: string) => ajv.compile({ $ref: `openapi#/components/schemas/${name}` });
  for (const name of Object.keys(document.components.schemas)) expect(validate(name)).toBeTypeOf('function');
  const isEntry = validate('Entry');
  expect(validate('Placement')(placement('p'))).toBe(true);
  expect(isEntry(setUp('s', '08:00', 0))).toBe(true);
  expect(isEntry(level('r', '09:00', 12.345))).toBe(true);
  const suction = (dial_cmh2o: unknown) => entry('r', 'reading', '09:00', { suction: { dial_cmh2o } });
  expect(isEntry(suction({ value: 1.96, unit: 'kPa' }))).toBe(true);
  for (const wrong of [-20, '20', null, 12.3456, { value: 1 }]) expect(isEntry(suction(wrong))).toBe(false);
  expect(isEntry({ ...level('r', '09:00', 1), level: 2 })).toBe(false);
  expect(isEntry({ ...level('r', '09:00', 1), kind: 'placed' })).toBe(false);
});

test('numbers say their unit, and null its reason', () => {
  const { Interval, Window, TotalNegativity, PressureMagnitude } = document.components.schemas;
  for (const part of [Interval, Window]) expect(JSON.stringify(part)).toContain('mL');
  expect(JSON.stringify(TotalNegativity)).toContain('Positive magnitude below atmosphere, cm H2O');
  expect(JSON.stringify(PressureMagnitude)).toContain('positive magnitude');
});

/** Names of the headers that an operation reads, and those that it answers with by status. */
const headersOf = (path: string) => {
  const { parameters = [], responses = {} } = document.paths[path]?.get ?? {};
  return {
    read: parameters.filter((each) => each.in === 'header').map(({ name }) => name),
    answered: Object.entries(responses)
      .filter(([, { headers = {} }]) => 'ETag' in headers)
      .map(([status]) => status),
  };
};

test('a client can be made from it that polls by tag and comes back to a stream', () => {
  expect(headersOf('/v1/drains/{drain}/trends')).toEqual({
    read: ['If-None-Match'],
    answered: ['200', '304'],
  });
  expect(headersOf('/v1/overview/live')).toEqual({ read: ['Last-Event-ID'], answered: [] });
  expect(headersOf('/v1/drains/{drain}/state')).toEqual({ read: [], answered: [] });
});

test('numbers in a query have their range', () => {
  const schemaOf = (path: string, of: string) =>
    document.paths[path]?.get?.parameters?.find(({ name }) => name === of)?.schema;
  expect(schemaOf('/v1/overview', 'count')).toEqual({ type: 'integer', minimum: 1, maximum: 200 });
  expect(schemaOf('/v1/drains/{drain}/trends', 'last_h')).toEqual({
    type: 'integer',
    minimum: 1,
    maximum: 8784,
  });
});

const DOC: RouteDoc = {
  operation: 'a',
  access: 'public',
  summary: 'A',
  answers: { 200: json('It.', z.object({})) },
};

test.each([
  [
    'a route without documentation',
    [['/a', undefined]],
    'GET /a has no documentation: give its route config.doc',
  ],
  [
    'two operations of one name',
    [
      ['/a', DOC],
      ['/b', DOC],
    ],
    'two routes are called a: rename one',
  ],
  ['a path parameter without words', [['/a/:other', DOC]], '/a/:other: describe :other in PATH_PARAMETERS'],
  [
    'two schemas of one name',
    [
      ['/a', DOC],
      [
        '/b',
        {
          ...DOC,
          operation: 'b',
          answers: { 200: json('It.', named(z.string())), 201: json('It.', named(z.number())) },
        },
      ],
    ],
    'two schemas are called Named: rename one',
  ],
] as const)('%s stops the start', async (_name, routes, message) => {
  const app = fastify();
  const collected = collectRoutes(app);
  for (const [url, doc] of routes) app.get(url, doc === undefined ? {} : { config: { doc } }, () => ({}));
  await app.ready();
  expect(() => writeOpenApi(collected.all)).toThrow(message);
});

/** A type under a name that another type has too. */
function named(type: z.ZodType): z.ZodType {
  return z.object({ inner: type.meta({ id: 'Named' }) });
}
