/** One resource to a target: what it is asked, word for word. */
import { expect, it } from 'vitest';
import type { Asked, Connection } from '../../src/delivery/connection.ts';
import { resourceOf } from '../../src/delivery/resource.ts';
import { sendOne } from '../../src/delivery/send-one.ts';

const OF_ITSELF = { known: undefined, isOrdered: false } as const;
const BY_CREATE = { mode: 'create', conditionalCreate: true, types: null } as const;

/** Takes all that it is sent, and keeps what it was asked. */
function taking(): Connection & { readonly asked: Asked[] } {
  const asked: Asked[] = [];
  return {
    baseUrl: 'http://127.0.0.1/fhir',
    asked,
    async ask(each) {
      asked.push(each);
      const body = each.method === 'GET' ? '{"resourceType":"Bundle"}' : '';
      return { verdict: { kind: 'taken' }, answer: { status: 201, headers: {}, body } };
    },
  };
}

// FHIR search.html, 3.1.1.6.8, and RFC 3986: what parts values is escaped, and the whole is encoded.
const VALUE = String.raw`a,b|c$d\e`;
const TOKEN = String.raw`urn:x|a\,b\|c\$d\\e`;
const ENCODED = 'urn%3Ax%7Ca%5C%2Cb%5C%7Cc%5C%24d%5C%5Ce';

it.each([false, true])('asks for exactly this identifier, uncertain: %s', async (uncertain) => {
  const identifier = { system: 'urn:x', value: VALUE };
  const text = JSON.stringify({ resourceType: 'Observation', id: 'level.d.e', identifier: [identifier] });
  const connection = taking();
  const one = { ...OF_ITSELF, resource: resourceOf(text), text, identifier, uncertain };
  await sendOne(connection, BY_CREATE, one);
  const create = connection.asked.at(-1);
  expect(create?.headers).toEqual({ 'if-none-exist': `identifier=${ENCODED}` });
  expect(decodeURIComponent(ENCODED)).toBe(TOKEN);
  expect(connection.asked.slice(0, -1).map(({ path }) => path)).toEqual(
    uncertain ? [`Observation?identifier=${ENCODED}`] : [],
  );
});

/** Refuses every PUT as a duplicate of what it has under an id of its own. */
function having(value: number): Connection & { readonly asked: Asked[] } {
  const asked: Asked[] = [];
  const held = {
    ...{ resourceType: 'Observation', id: 'their-7', valueQuantity: { value } },
    identifier: [{ system: 'urn:x', value: 'v' }],
  };
  const said = (status: number, body: object) => ({
    answer: { status, headers: { etag: 'W/"3"' }, body: JSON.stringify(body) },
  });
  return {
    baseUrl: 'http://127.0.0.1/fhir',
    asked,
    async ask(each) {
      asked.push(each);
      if (each.method === 'PUT')
        return { ...said(422, {}), verdict: { kind: 'duplicate', outcome: { why: 'HTTP 422: duplicate' } } };
      const body = each.path.includes('?') ? { resourceType: 'Bundle', entry: [{ resource: held }] } : held;
      return { ...said(200, body), verdict: { kind: 'taken' } };
    },
  };
}

// FHIR R4, issue-type 'duplicate': an attempt was made to create a duplicate record.
it.each([
  ['the same there', 2, 'taken', 'Observation/their-7'],
  ['another value there', 3, 'duplicate', undefined],
])(
  'believes that an update is a duplicate only of what it finds to be the same: %s',
  async (_what, value, kind, remote) => {
    const identifier = { system: 'urn:x', value: 'v' };
    const text =
      '{"resourceType":"Observation","id":"level.d.e","identifier":[{"system":"urn:x","value":"v"}],"valueQuantity":{"value":2.0}}';
    const connection = having(value);
    const one = { ...OF_ITSELF, resource: resourceOf(text), text, identifier, uncertain: false };
    const { verdict, taken } = await sendOne(connection, { ...BY_CREATE, mode: 'put' }, one);
    expect([verdict.kind, taken?.remote]).toEqual([kind, remote]);
    expect(connection.asked.filter(({ method }) => method === 'PUT')).toHaveLength(1);
  },
);

/** An update of what it took as `Observation/7`, at a target that has something of this identifier there. */
async function updateWhere(value: string): Promise<string[]> {
  const identifier = { system: 'urn:x', value: 'v' };
  const text = JSON.stringify({ resourceType: 'Observation', id: 'level.d.e', identifier: [identifier] });
  const asked: string[] = [];
  const there = { resourceType: 'Observation', id: '7', note: value, identifier: [{ ...identifier, value }] };
  const connection: Connection = {
    baseUrl: 'http://127.0.0.1/fhir',
    async ask({ method, path, headers }) {
      asked.push(`${method} ${path.split('?')[0]} ${headers?.['if-match'] ?? ''}`.trim());
      const body = JSON.stringify(path.includes('?') ? { resourceType: 'Bundle' } : there);
      return { verdict: { kind: 'taken' }, answer: { status: 200, headers: { etag: 'W/"5"' }, body } };
    },
  };
  const known = {
    resource: 'Observation/level.d.e',
    version: 1,
    remote: 'Observation/7',
    etag: 'W/"1"',
    acceptedMs: null,
  };
  const changed = text.replace('"identifier"', '"status":"corrected","identifier"');
  const one = {
    ...OF_ITSELF,
    resource: resourceOf(changed),
    text: changed,
    identifier,
    uncertain: false,
    known,
  };
  await sendOne(connection, BY_CREATE, one);
  return asked;
}

it('changes what it made, and nothing that a target set back to an older copy has given the same id since', async () => {
  expect(await updateWhere('v')).toEqual(['GET Observation/7', 'PUT Observation/7 W/"5"']);
  expect(await updateWhere('of-somebody-else')).toEqual(['GET Observation/7', 'GET Observation']);
});

it.each([
  [false, 'gone', ['PUT Provenance/provenance.d.e']],
  [true, 'taken', ['PUT Provenance/provenance.d.e', 'PUT Provenance/provenance.d.e']],
])(
  'what is gone there and has no identifier is made anew where somebody ordered it: %s',
  async (isOrdered, kind, asked) => {
    const text = '{"resourceType":"Provenance","id":"provenance.d.e"}';
    const name = 'Provenance/provenance.d.e';
    const known = { resource: name, version: 1, remote: name, etag: 'W/"1"', acceptedMs: null };
    const seen: string[] = [];
    const connection: Connection = {
      baseUrl: 'http://127.0.0.1/fhir',
      async ask({ method, path, headers }) {
        seen.push(`${method} ${path}`);
        const answer = { status: 404, headers: {}, body: '' };
        if (headers?.['if-match'] === undefined)
          return { verdict: { kind: 'taken' }, answer: { ...answer, status: 201 } };
        return { verdict: { kind: 'gone', outcome: { why: 'HTTP 404' } }, answer };
      },
    };
    const one = { resource: resourceOf(text), text, identifier: null, uncertain: false, known, isOrdered };
    const went = await sendOne(connection, { ...BY_CREATE, mode: 'put' }, one);
    expect([went.verdict.kind, seen]).toEqual([kind, asked]);
  },
);
