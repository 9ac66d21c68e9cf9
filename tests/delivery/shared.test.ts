/** What waits behind one another on a drain, in one transaction: what shares a Bundle, and what comes of it. */
import { createServer, type Server, type ServerResponse } from 'node:http';
import { text } from 'node:stream/consumers';
import fc from 'fast-check';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import { bundleUpTo } from '../../src/delivery/send-shared.ts';
import type { Target } from '../../src/delivery/target.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp, type Told } from '../support/drain-script.ts';
import { addressOf, closed, listening } from '../support/local-server.ts';
import { deliverTo, untilIdle } from './deliverer.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const STORY = [
  PLACED,
  setUp('08:00', 0),
  level('a', '09:00', 10),
  level('b', '10:00', 20),
  level('c', '11:00', 30),
];
const FIXED: Told = { ...level('b-fixed', '11:30', 25), corrects: 'b', to: '10:00' } as Told;
const REFUSED =
  '{"issue":[{"severity":"error","code":"business-rule","diagnostics":"more than this ward allows"}]}';

const MRN = { system: 'urn:example:mrn', value: '12-34' };
const STORY_BY_NUMBER = [placed('08:00', { patient: { identifier: MRN } }), ...STORY.slice(1)];
const FOUND = {
  resourceType: 'Bundle',
  entry: [{ resource: { resourceType: 'Patient', id: 'theirs', identifier: [MRN] } }],
};

interface Written {
  readonly resource: {
    readonly resourceType: string;
    readonly id: string;
    readonly valueQuantity?: { readonly value: number };
  };
  readonly request: { readonly url: string };
}
type Answer = (response: ServerResponse, written: readonly Written[]) => void;

const ok: Answer = (response, written) => {
  const entry = written.map(() => ({ response: { status: '201', etag: 'W/"1"' } }));
  const bundle = { resourceType: 'Bundle', type: 'transaction-response', entry };
  response.writeHead(200).end(written.length === 0 ? '' : JSON.stringify(bundle));
};

const ledger = ledgerForEach();
let server: Server;
let deliverer: Deliverer | undefined;
/** What the coming requests are answered; then all is well. */
let answers: Answer[];
let bundles: (readonly Written[])[];
/** What the server shows, by name. */
let held: Map<string, string>;
/** Statuses of the coming searches for the patient; then the patient is found. */
let searches: number[];

beforeEach(async () => {
  answers = [];
  bundles = [];
  held = new Map();
  searches = [];
  server = createServer((request, response) => {
    void text(request).then((body) => {
      if (request.url?.endsWith('/_search'))
        return response.writeHead(searches.shift() ?? 200).end(JSON.stringify(FOUND));
      const written = request.method === 'POST' ? (JSON.parse(body) as { entry: Written[] }).entry : [];
      if (request.method === 'POST') bundles.push(written);
      const shown = held.get(request.url?.replace('/fhir/', '') ?? '');
      if (request.method === 'GET')
        return response.writeHead(shown === undefined ? 404 : 200).end(shown ?? '');
      return (answers.shift() ?? ok)(response, written);
    });
  });
  await listening(server);
});
afterEach(async () => {
  await deliverer?.stop();
  deliverer = undefined;
  await closed(server);
});

async function delivered(story: readonly Told[], more: Partial<Target> = {}, ceilingMs = 10_000) {
  const [placement = PLACED] = story;
  for (const told of story) await ledger.record([incoming(told, placement)]);
  const baseUrl = `${addressOf(server)}/fhir`;
  deliverer = deliverTo(ledger.store, baseUrl, more, ceilingMs);
  return untilIdle(ledger.store);
}

/** The levels of each Bundle, mL. */
const levels = () =>
  bundles.map((written) =>
    written.flatMap(({ resource: { id, valueQuantity } }) =>
      id.startsWith('level.') ? (valueQuantity?.value ?? []) : [],
    ),
  );
const steps = () =>
  ledger.store
    .deliveryEvents({}, 0, 1000)
    .filter(({ drain }) => drain !== null)
    .map(({ logIndex, kind, attempts }) => `${logIndex} ${kind} ${attempts}`);

describe('what waits on a drain', () => {
  it('goes in one Bundle, in the order of the ledger, and each has steps of its own', async () => {
    expect(await delivered(STORY)).toEqual({ idle: 1 });
    expect(levels()).toEqual([[10, 20, 30]]);
    expect(steps()).toEqual([
      ...['1 sending 1', '2 sending 1', '3 sending 1', '4 sending 1'],
      ...['1 delivered 1', '2 delivered 1', '3 delivered 1', '4 delivered 1'],
    ]);
    expect(deliverer?.ends.get('delivered')).toBe(4);
  });

  it('goes each alone where the target is to get no more than one', async () => {
    expect(await delivered(STORY, { mostInBundle: 1 })).toEqual({ idle: 1 });
    expect(levels()).toEqual([[], [10], [20], [30]]);
  });

  it('never puts two versions of a resource into one Bundle, and sends the newer after the older', async () => {
    expect(await delivered([...STORY, FIXED])).toEqual({ idle: 1 });
    expect(levels()).toEqual([[10, 20, 30], [25]]);
    for (const written of bundles) {
      const urls = written.map(({ request }) => request.url);
      expect(new Set(urls).size).toBe(urls.length);
    }
  });

  it('a refused Bundle leaves each to go alone, and says why', async () => {
    const isBad = ({ resource }: Written) => resource.valueQuantity?.value === 20;
    const refusing: Answer = (response, written) =>
      written.some(isBad) ? response.writeHead(422).end(REFUSED) : ok(response, written);
    answers = Array.from({ length: 5 }, () => refusing);
    await delivered(STORY);
    // Of the bad one each resource goes alone at last, by PUT.
    expect(levels()).toEqual([[10, 20, 30], [], [10], [20], [30]]);
    expect(steps().slice(4, 9)).toEqual([
      ...['1 waiting 1', '2 waiting 1', '3 waiting 1', '4 waiting 1'],
      '1 sending 2',
    ]);
    const [waited] = ledger.store.deliveryEvents({}, 0, 99).filter(({ kind }) => kind === 'waiting');
    expect(waited?.outcome?.why).toBe('each is sent alone after HTTP 422: more than this ward allows');
  });

  it('after an answer that never came, waits out the ceiling, then goes each alone and as uncertain', async () => {
    answers = [(response) => response.destroy()];
    const start = Date.now();
    expect(await delivered(STORY, {}, 1000)).toEqual({ idle: 1 });
    expect(Date.now() - start).toBeGreaterThanOrEqual(1000);
    expect(levels()).toEqual([[10, 20, 30], [], [10], [20], [30]]);
    expect(steps().slice(4, 8)).toEqual(['1 unknown 1', '2 unknown 1', '3 unknown 1', '4 unknown 1']);
  });

  it('done, though its answer never came, each is found there and nothing is written after what is newer', async () => {
    answers = [
      (response, written) => {
        for (const { resource, request } of written) held.set(request.url, JSON.stringify(resource));
        response.destroy();
      },
    ];
    expect(await delivered(STORY, {}, 1000)).toEqual({ idle: 1 });
    expect(levels()).toEqual([[10, 20, 30]]);
    const looked = steps().slice(8);
    expect(looked).toEqual([1, 2, 3, 4].flatMap((n) => [`${n} sending 2`, `${n} delivered 2`]));
  });

  it('accepted for later, each is to be looked for', async () => {
    answers = [(response) => response.writeHead(202).end()];
    await delivered(STORY);
    const accepted = ledger.store.deliveries({ state: 'accepted' }, null, 9);
    expect(accepted.map(({ logIndex }) => logIndex)).toEqual([1, 2, 3, 4]);
  });

  it('answered with less than an entry for each, is no success: each goes alone after the ceiling', async () => {
    answers = [(response) => response.writeHead(200).end('{"resourceType":"Bundle","entry":[]}')];
    expect(await delivered(STORY, {}, 1000)).toEqual({ idle: 1 });
    expect(levels()).toEqual([[10, 20, 30], [], [10], [20], [30]]);
    expect(steps()).toContain('4 unknown 1');
  });

  it('answered as done with an entry that was not, is no success either', async () => {
    answers = [
      (response, written) => {
        const entry = written.map((_each, n) => ({ response: { status: n === 3 ? '422' : '201' } }));
        response.writeHead(200).end(JSON.stringify({ resourceType: 'Bundle', entry }));
      },
    ];
    expect(await delivered(STORY, {}, 1000)).toEqual({ idle: 1 });
    expect(levels()).toEqual([[10, 20, 30], [], [10], [20], [30]]);
    expect(steps().slice(4, 8)).toEqual(['1 unknown 1', '2 unknown 1', '3 unknown 1', '4 unknown 1']);
  });

  it.each([503, 401])('waits like one alone while patients cannot be looked up: HTTP %i', async (status) => {
    searches = [status, status, status];
    expect(await delivered(STORY_BY_NUMBER, { patient: 'look-up' })).toEqual({ idle: 1 });
    const events = ledger.store.deliveryEvents({}, 0, 99);
    const waited = events.filter(({ kind }) => kind === 'waiting');
    expect(waited.map(({ outcome }) => outcome?.why)).toEqual(Array(6).fill(`HTTP ${status}`));
    // Each of the three counts against the target, the shared one too.
    expect(events.map(({ kind }) => kind)).toContain('tripped');
  });

  it('goes each alone where the look-up is refused, and says whose', async () => {
    searches = [400];
    expect(await delivered(STORY_BY_NUMBER, { patient: 'look-up' })).toEqual({ idle: 1 });
    const [waited] = ledger.store.deliveryEvents({}, 0, 99).filter(({ kind }) => kind === 'waiting');
    expect(waited?.outcome?.why).toBe('1 is not ready to be sent');
    expect(levels()).toEqual([[], [10], [20], [30]]);
  });

  it('is not shared by what one by one is the way of the target', async () => {
    expect(await delivered(STORY, { mode: 'put' })).toEqual({ idle: 1 });
    expect(bundles).toEqual([]);
    expect(steps().slice(0, 2)).toEqual(['1 sending 1', '1 delivered 1']);
  });
});

it('a Bundle takes issues in turn, up to its size, none that names what is in it, and never less than one', () => {
  const name = fc
    .integer({ min: 0, max: 30 })
    .map((n) => `{"resourceType":"Observation","id":"level.d.${n}"}`);
  const issue = fc.uniqueArray(name, { maxLength: 8 });
  fc.assert(
    fc.property(
      fc.array(issue, { minLength: 1, maxLength: 8 }),
      fc.integer({ min: 1, max: 20 }),
      (issues, most) => {
        const goesIn = bundleUpTo(most)();
        const refusedAt = issues.findIndex((texts) => !goesIn(texts));
        const taken = issues.slice(0, refusedAt === -1 ? issues.length : refusedAt);
        const all = taken.flat();
        expect(taken.length).toBeGreaterThanOrEqual(1);
        expect(new Set(all).size).toBe(all.length);
        if (taken.filter((texts) => texts.length > 0).length > 1)
          expect(all.length).toBeLessThanOrEqual(most);
        const next = issues[taken.length];
        if (next !== undefined)
          expect(all.length + next.length > most || next.some((each) => all.includes(each))).toBe(true);
      },
    ),
  );
});
