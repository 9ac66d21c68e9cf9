/** The API reference, OpenAPI 3.1, from the routes and the schemas that the code itself uses. */
import { z } from 'zod';
import { type Access, scopeFor } from '../auth/scope.ts';
import { CAUTIONS } from './parts.ts';
import type { AnswerDoc, RouteDoc } from './route-doc.ts';
import type { Route } from './routes.ts';

/** Version of this interface, not of the program. */
const VERSION = '1.0.0';

const ABOUT = `${CAUTIONS.join(' ')}

Readings of water-seal chest drains go in; volumes, rates, windows and total negativity that follow from them come out,
each as of a time, with its marks and, where there is no number, with the reason.

Numbers are in the unit that ends their name. Suction, seal level and total negativity are positive magnitudes below
atmosphere; \`pressure_cmh2o\` alone is signed against it. Volumes are exact; rates and interpolated volumes are rounded
once, half to even. A path that answers GET answers HEAD too. Unknown fields and parameters are refused, and nothing is
coerced.

Answers forbid caching (\`no-store\`) and are not compressed: a proxy may compress all but \`text/event-stream\`. Where an answer of 304 is
listed, keep the answer yourself and send its \`ETag\` as \`If-None-Match\`. Pages of other sites are let in by no header of CORS: ask from
a server of yours, or by one that serves page and service under one name. A client that asks too often is answered 429, with
\`Retry-After\` in seconds.`;

const PATH_PARAMETERS: Readonly<Record<string, string>> = {
  drain: 'Id of the drain, as its placement was answered.',
  device: 'Id of the device, as its registration was answered.',
  id: 'Logical id of the resource.',
  version: 'Version of the resource, as its meta.versionId.',
  delivery: 'Id of a delivery, as GET /v1/deliveries lists it.',
  target: 'Name of a target, as GET /v1/targets lists it.',
  file: 'Name of the file.',
  sequence: 'Number of a message that waits, as GET /v1/hl7v2/unmapped lists it.',
  job: 'Id of an export, as its kick-off was answered.',
};

type Json = Readonly<Record<string, unknown>>;
type Components = Map<string, string>;

/** @throws {Error} naming a route that has no documentation, or two things that share a name */
export function writeOpenApi(routes: readonly Route[]): string {
  const components: Components = new Map();
  const paths: Record<string, Record<string, Json>> = {};
  const operations = new Set<string>();
  for (const { method, url, doc } of routes) {
    // A GET route answers HEAD by itself.
    if (method === 'HEAD' || isSlashTwin(url)) continue;
    if (doc === undefined)
      throw new Error(`${method} ${url} has no documentation: give its route config.doc`);
    if (operations.has(doc.operation)) throw new Error(`two routes are called ${doc.operation}: rename one`);
    operations.add(doc.operation);
    const path = url.replaceAll(/:(\w+)/g, '{$1}');
    paths[path] = { ...paths[path], [method.toLowerCase()]: operationOf(url, doc, components) };
  }
  const schemas = [...components]
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([id, text]) => [id, JSON.parse(text)]);
  const document = {
    openapi: '3.1.0',
    info: { title: 'drainledger', version: VERSION, description: ABOUT, license: LICENSE },
    servers: [{ url: '/' }],
    paths,
    components: { securitySchemes: SECURITY, schemas: Object.fromEntries(schemas) },
  };
  return `${JSON.stringify(document, null, 2)}\n`;
}

const SECURITY = {
  bearer: {
    type: 'http',
    scheme: 'bearer',
    description:
      'A JWT of a configured issuer, or a key. Scopes are those of SMART App Launch 2.2.0; in development none is asked for.',
  },
};

const LICENSE = { name: 'Apache-2.0', identifier: 'Apache-2.0' };

/** The root of a prefix is registered with and without a slash at its end. */
const isSlashTwin = (url: string): boolean => url.length > 1 && url.endsWith('/');

function operationOf(url: string, doc: RouteDoc, components: Components): Json {
  const parameters = [...pathParameters(url), ...queryParameters(doc, components), ...headerParameters(doc)];
  const answers = Object.entries({ ...doc.answers, ...goneOf(url, doc) }).map(([status, answer]) => [
    status,
    { ...answerOf(answer, components), ...(isTagged(doc, status) ? { headers: ETAG } : {}) },
  ]);
  return {
    operationId: doc.operation,
    summary: doc.summary,
    description: [doc.about, CAUTIONS[0]].filter((part) => part !== undefined).join('\n\n'),
    security: securityOf(doc.access),
    ...(parameters.length === 0 ? {} : { parameters }),
    ...(doc.body === undefined ? {} : { requestBody: bodyOf(doc.body, doc.bodyTypes, components) }),
    responses: Object.fromEntries(answers),
  };
}

/** Of what a path names by a drain, or by a resource of one. */
function goneOf(url: string, { answers }: RouteDoc): RouteDoc['answers'] {
  const other = answers.default;
  if (other === undefined || !/:drain\b|^\/fhir\/(Observation|Device|Provenance)\/:id\b/.test(url)) return {};
  return { 410: { ...other, text: 'What was charted of this drain was lawfully erased.' } };
}

/** The scope is the one that suffices; of a route for whoever is known there is none. */
function securityOf(access: Access): Json[] {
  if (access === 'public') return [];
  return [{ bearer: access === 'known' ? [] : [scopeFor(access)] }];
}

function pathParameters(url: string): Json[] {
  return [...url.matchAll(/:(\w+)/g)].map(([, name = '']) => {
    const description = PATH_PARAMETERS[name];
    if (description === undefined) throw new Error(`${url}: describe :${name} in PATH_PARAMETERS`);
    return { name, in: 'path', required: true, description, schema: { type: 'string' } };
  });
}

function queryParameters({ query }: RouteDoc, components: Components): Json[] {
  return Object.entries(query ?? {}).map(([name, type]) => {
    const { description, ...schema } = schemaOf(type, 'input', components);
    return { name, in: 'query', required: false, description, schema };
  });
}

const LAST_EVENT_ID = {
  name: 'Last-Event-ID',
  description: 'Id of the last event that was told: what was missed since is told first.',
  schema: { type: 'string', pattern: '^-?[0-9]{1,15}$' },
};

const IF_NONE_MATCH = {
  name: 'If-None-Match',
  description:
    'Entity tags that the client holds, with commas between them: where one is that of the answer it is 304.',
  schema: { type: 'string' },
};

const ETAG = { ETag: { description: 'Entity tag of this answer.', schema: { type: 'string' } } };

/** An answer that may be 304 has a tag. */
const isTagged = ({ answers }: RouteDoc, status: string): boolean =>
  answers[304] !== undefined && ['200', '304'].includes(status);

/** Headers that a route reads, as its answers tell. */
function headerParameters({ answers }: RouteDoc): Json[] {
  const found = [
    ...(answers[304] === undefined ? [] : [IF_NONE_MATCH]),
    ...(answers[200]?.schema !== undefined && answers[200].mediaType === 'text/event-stream'
      ? [LAST_EVENT_ID]
      : []),
  ];
  return found.map(({ name, ...rest }) => ({ name, in: 'header', required: false, ...rest }));
}

function bodyOf(
  body: z.ZodType,
  types: readonly string[] = ['application/json'],
  components: Components,
): Json {
  const schema = schemaOf(body, 'input', components);
  return { required: true, content: Object.fromEntries(types.map((type) => [type, { schema }])) };
}

function answerOf(answer: AnswerDoc, components: Components): Json {
  const { text } = answer;
  if (answer.schema === undefined) return { description: text };
  const types = Object.entries({ [answer.mediaType]: answer.schema, ...answer.also });
  const content = types.map(([type, schema]) => [type, { schema: schemaOf(schema, 'output', components) }]);
  return { description: text, content: Object.fromEntries(content) };
}

/** The JSON Schema of a type; parts that have an id become components. */
function schemaOf(type: z.ZodType, io: 'input' | 'output', components: Components): Json {
  const options = { io, target: 'draft-2020-12', unrepresentable: 'any' } as const;
  const text = JSON.stringify(z.toJSONSchema(type, options)).replaceAll(
    '"#/$defs/',
    '"#/components/schemas/',
  );
  const { $schema: _dialect, $defs = {}, ...schema } = JSON.parse(text) as Json;
  for (const [id, part] of Object.entries($defs as Json)) {
    const { id: _id, ...rest } = part as Json;
    keepComponent(id, JSON.stringify(rest), components);
  }
  return schema;
}

function keepComponent(id: string, text: string, components: Components): void {
  const before = components.get(id);
  if (before !== undefined && before !== text) throw new Error(`two schemas are called ${id}: rename one`);
  components.set(id, text);
}
