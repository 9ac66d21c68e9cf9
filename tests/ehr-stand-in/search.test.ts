import { afterAll, beforeAll, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { observationText, type RunningStandIn, readFrom, sendTo, startStandIn } from './client.ts';

const system = 'https://example.org/readings';
let standIn: RunningStandIn;

beforeAll(async () => {
  standIn = await startStandIn();
  for (const [id, value] of [
    ['one', 'same'],
    ['two', 'same'],
    ['three', 'other'],
  ] as const) {
    const identifier = `"identifier":[{"system":"${system}","value":"${value}"}], `;
    await sendTo('PUT', `${standIn.fhir}/Observation/${id}`, observationText(id, '0.10', identifier));
  }
});
afterAll(() => standIn.app.close());

async function pageOf(url: string) {
  const { status, text } = await readFrom(url);
  const bundle: {
    total: number;
    link: { relation: string; url: string }[];
    entry?: { fullUrl: string; resource: { id: string } }[];
  } = JSON.parse(text);
  const next = bundle.link.find(({ relation }) => relation === 'next')?.url;
  return { status, text, bundle, next, ids: (bundle.entry ?? []).map(({ resource }) => resource.id) };
}

test('all resources of a type are found, with their texts as sent', async () => {
  const { status, text, bundle, ids, next } = await pageOf(`${standIn.fhir}/Observation`);
  expect([status, bundle.total, next]).toEqual([200, 3, undefined]);
  expect(ids).toEqual(['one', 'two', 'three']);
  expect(bundle.entry?.[0]?.fullUrl).toBe(`${standIn.fhir}/Observation/one`);
  expect(text.match(/"value":0\.10,/g)).toHaveLength(3);
  expect(problemsOf(bundle)).toEqual([]);
});

test('an identifier finds those that carry it and no others', async () => {
  const found = await pageOf(`${standIn.fhir}/Observation?identifier=${system}|same`);
  expect(found.ids).toEqual(['one', 'two']);
  const encoded = await pageOf(
    `${standIn.fhir}/Observation?identifier=${encodeURIComponent(`${system}|other`)}`,
  );
  expect(encoded.ids).toEqual(['three']);
  const none = await pageOf(`${standIn.fhir}/Observation?identifier=https://example.org/else|same`);
  expect([none.ids, none.bundle.total]).toEqual([[], 0]);
  expect(problemsOf(none.bundle)).toEqual([]);
  expect((await pageOf(`${standIn.fhir}/Patient`)).bundle.total).toBe(0);
});

test('the next links lead through every match once', async () => {
  const first = await pageOf(`${standIn.fhir}/Observation?_count=2`);
  expect([first.ids, first.bundle.total]).toEqual([['one', 'two'], 3]);
  const second = await pageOf(first.next ?? '');
  expect([second.ids, second.bundle.total, second.next]).toEqual([['three'], 3, undefined]);
  const filtered = await pageOf(`${standIn.fhir}/Observation?_count=1&identifier=${system}|same`);
  const rest = await pageOf(filtered.next ?? '');
  expect([rest.ids, rest.bundle.total, rest.next]).toEqual([['two'], 2, undefined]);
  expect((await pageOf(`${standIn.fhir}/Observation?_count=3`)).next).toBeUndefined();
  const counted = await pageOf(`${standIn.fhir}/Observation?_count=0`);
  expect([counted.ids, counted.bundle.total, counted.next]).toEqual([[], 3, undefined]);
});

test.each(['code=x', '_sort=date', '_count=-1', '_count=many', '_count=1&_count=2', 'identifier=same'])(
  'a search by %s is refused and not answered with too much',
  async (query) => {
    const { status, text } = await readFrom(`${standIn.fhir}/Observation?${query}`);
    expect(status).toBe(400);
    expect(problemsOf(JSON.parse(text))).toEqual([]);
  },
);
