/**
 * What becomes of a 202, which says that something is queued and may be discarded yet (RFC 9110, 15.3.3): it is looked
 * for, and what changes it waits meanwhile. In virtual time, against a server in memory.
 */
import { describe, expect, it } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import type { HttpAnswer, HttpRequest } from '../../src/delivery/http.ts';
import type { Mode } from '../../src/delivery/target.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { level, placed, setUp, type Told } from '../support/drain-script.ts';
import { delivererForEach } from './sim/one-target.ts';
import { createVirtualClock, type VirtualClock } from './sim/virtual-clock.ts';
import { targetOf } from './target.ts';

const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const BASE = 'http://127.0.0.1/fhir';
const MINUTE_MS = 60_000;
const HOUR_MS = 3_600_000;
const START_MS = Date.UTC(2026, 2, 5);

const ledger = ledgerForEach();
const deliver = delivererForEach();

/** A server that queues every write, and does what it has queued when it is told to. */
interface Queueing {
  readonly clock: VirtualClock;
  readonly held: ReadonlyMap<string, string>;
  /** Method and path of each request. */
  readonly requests: string[];
  /** Whether it answers reads with 403. */
  forbidsReads: boolean;
  isQueueing: boolean;
  doQueued(): void;
  discardQueued(): void;
}

function start(mode: Exclude<Mode, 'probe'>): Queueing & { readonly deliverer: Deliverer } {
  const clock = createVirtualClock(START_MS, () => 0.5);
  const held = new Map<string, string>();
  let queue: (() => void)[] = [];
  const ehr: Queueing = {
    ...{ clock, held, requests: [] as string[], forbidsReads: false, isQueueing: true },
    doQueued() {
      for (const write of queue.splice(0)) write();
    },
    discardQueued() {
      queue = [];
    },
  };
  async function send({ method, url, body = '' }: HttpRequest): Promise<HttpAnswer> {
    const path = url.slice(BASE.length + 1);
    ehr.requests.push(`${method} ${path}`);
    await clock.after(1);
    if (method === 'GET') return ehr.forbidsReads ? answer(403) : read(held, path);
    const write = () => {
      for (const [name, text] of writesIn(path, body)) held.set(name, text);
    };
    if (ehr.isQueueing) queue.push(write);
    else write();
    return ehr.isQueueing ? answer(202) : answer(201, path === '' ? responseTo(body) : '');
  }
  const deliverer = deliver({
    store: ledger.store,
    target: targetOf({ baseUrl: BASE, mode, reviewMs: 24 * HOUR_MS, types: new Set(['Observation']) }),
    clock,
    pollMs: 20_000,
    http: send,
  });
  return Object.assign(ehr, { deliverer });
}

const answer = (status: number, body = ''): HttpAnswer => ({ status, headers: {}, body });

function read(held: ReadonlyMap<string, string>, path: string): HttpAnswer {
  const [type, identifier] = path.split('?identifier=');
  if (identifier === undefined) return answer(held.has(path) ? 200 : 404, held.get(path) ?? '');
  const [, id] = decodeURIComponent(identifier).split('|');
  const text = held.get(`${type}/${id}`);
  const entry = text === undefined ? [] : [{ resource: { ...JSON.parse(text), id } }];
  return answer(200, JSON.stringify({ resourceType: 'Bundle', entry }));
}

function responseTo(body: string): string {
  const { type, entry } = JSON.parse(body) as { type: string; entry: readonly object[] };
  const done = entry.map(() => ({ response: { status: '201' } }));
  return JSON.stringify({ resourceType: 'Bundle', type: `${type}-response`, entry: done });
}

interface Written {
  readonly resourceType: string;
  readonly identifier?: readonly { readonly value: string }[];
  readonly entry?: readonly { readonly resource: object; readonly request: { readonly url: string } }[];
}

/** By what it is kept under: its id as we issued it. */
function writesIn(path: string, body: string): [string, string][] {
  const sent = JSON.parse(body) as Written;
  if (sent.entry !== undefined)
    return sent.entry.map(({ resource, request }) => [request.url, JSON.stringify(resource)]);
  return [[path.includes('/') ? path : `${path}/${sent.identifier?.[0]?.value}`, body]];
}

async function tell(clock: VirtualClock, ...story: readonly Told[]): Promise<void> {
  for (const told of story) await clock.busy(ledger.record([incoming(told, PLACED)]));
}
const counts = () =>
  Object.fromEntries(ledger.store.deliveryCounts().map((each) => [each.state, each.count]));
const isAtRest = (): boolean => Object.keys(counts()).join() === 'idle';
const steps = (logIndex: number) =>
  ledger.store.deliveryEvents({}, 0, 999).filter((each) => each.logIndex === logIndex);
const kinds = (logIndex: number): string[] => steps(logIndex).map(({ kind }) => kind);
const writes = ({ requests }: Queueing) => requests.filter((each) => !each.startsWith('GET')).length;
const levels = ({ held }: Queueing) =>
  [...held].flatMap(([name, text]) =>
    name.startsWith('Observation/level.') ? [JSON.parse(text).valueQuantity.value as number] : [],
  );

const ALL = ['transaction', 'batch', 'put', 'create'] as const;

describe.each(ALL)('what a target of mode %s accepted', (mode) => {
  it('is looked for, first after a minute and ever more seldom, and settled when it is there', async () => {
    const ehr = start(mode);
    await tell(ehr.clock, PLACED, setUp('08:00', 0));
    await ehr.clock.runUntil(() => counts().accepted === 1, HOUR_MS);
    const sent = writes(ehr);
    await ehr.clock.runUntil(() => kinds(1).length >= 11, 12 * HOUR_MS);
    const looks = steps(1).filter(({ kind }) => kind === 'looking');
    const at = looks.map(({ atMs }) => atMs - START_MS);
    expect(at[0]).toBeGreaterThanOrEqual(MINUTE_MS);
    expect(at[0]).toBeLessThan(2 * MINUTE_MS);
    const gaps = at.slice(1).map((each, n) => each - (at[n] ?? 0));
    expect(gaps.every((gap, n) => gap >= (gaps[n - 1] ?? 0) - 20_000)).toBe(true);
    expect(gaps.at(-1)).toBeGreaterThan(2 * MINUTE_MS);
    ehr.doQueued();
    await ehr.clock.runUntil(isAtRest, 12 * HOUR_MS);
    expect(kinds(1).slice(-2)).toEqual(['looking', 'delivered']);
    expect(writes(ehr)).toBe(sent);
  });

  it('keeps what changes the same fact waiting until it is there', async () => {
    const ehr = start(mode);
    await tell(ehr.clock, PLACED, setUp('08:00', 0), level('a', '09:00', 60), level('b', '10:00', 130));
    const fix = { ...level('a-fixed', '10:30', 70), corrects: 'a', to: '09:00' } as Told;
    await tell(ehr.clock, fix);
    await ehr.clock.runUntil(() => counts().accepted === 3 && counts().waiting === 1, HOUR_MS);
    const [held] = ledger.store.deliveries({ state: 'waiting' }, null, 9);
    expect(held).toMatchObject({
      logIndex: 4,
      outcome: { why: expect.stringContaining('accepted an earlier') },
    });
    ehr.doQueued();
    ehr.isQueueing = false;
    await ehr.clock.runUntil(
      () => counts().waiting === undefined && counts().accepted === undefined,
      HOUR_MS,
    );
    expect(levels(ehr).sort((a, b) => a - b)).toEqual([70, 130]);
  });

  it('is not taken to be there while an earlier version stands in its place', async () => {
    const ehr = start(mode);
    ehr.isQueueing = false;
    await tell(ehr.clock, PLACED, setUp('08:00', 0), level('a', '09:00', 60));
    await ehr.clock.runUntil(isAtRest, HOUR_MS);
    ehr.isQueueing = true;
    await tell(ehr.clock, { ...level('a-fixed', '10:30', 70), corrects: 'a', to: '09:00' } as Told);
    const newest = ledger.db.prepare<[], number>('SELECT max(log_index) FROM issued').pluck().get() ?? 0;
    await ehr.clock.runUntil(() => kinds(newest).join() === 'sending,accepted,looking,accepted', HOUR_MS);
    ehr.doQueued();
    await ehr.clock.runUntil(isAtRest, HOUR_MS);
    expect(levels(ehr)).toEqual([70]);
  });

  it('is sent once more when it is not there after its review, and then set aside with the reason', async () => {
    const ehr = start(mode);
    await tell(ehr.clock, PLACED, setUp('08:00', 0));
    await ehr.clock.runUntil(() => counts().accepted === 1, HOUR_MS);
    const sent = writes(ehr);
    ehr.discardQueued();
    await ehr.clock.runUntil(() => writes(ehr) > sent, 25 * HOUR_MS);
    expect(ehr.clock.now() - START_MS).toBeGreaterThanOrEqual(24 * HOUR_MS);
    const again = steps(1).find(({ kind }) => kind === 'requeued');
    expect(again).toMatchObject({
      by: null,
      outcome: { why: expect.stringMatching(/after 24 h: it is sent again$/) },
    });
    await ehr.clock.runUntil(() => counts().accepted === 1, HOUR_MS);
    ehr.discardQueued();
    await ehr.clock.runUntil(() => counts().dead === 1, 26 * HOUR_MS);
    expect(writes(ehr)).toBe(2 * sent);
    const [dead] = ledger.store.deliveries({ state: 'dead' }, null, 9);
    expect(dead?.outcome?.why).toMatch(/is not there after 24 h, 2 times: ask the target why$/);
    expect(counts()).toEqual({ idle: 1, dead: 1 });
  });

  it('stays listed where nobody may look, and is not sent again', async () => {
    const ehr = start(mode);
    ehr.forbidsReads = true;
    await tell(ehr.clock, PLACED, setUp('08:00', 0));
    await ehr.clock.runUntil(() => counts().accepted === 1, HOUR_MS);
    const sent = writes(ehr);
    await ehr.clock.runUntil(
      () => ledger.store.deliveries({ state: 'accepted' }, null, 9)[0]?.dueMs === null,
      26 * HOUR_MS,
    );
    const [listed] = ledger.store.deliveries({}, null, 9);
    expect(listed?.outcome).toEqual({ why: 'accepted, and cannot be looked for: HTTP 403', status: 403 });
    expect(writes(ehr)).toBe(sent);
    expect(ehr.deliverer.breaker.isParked).toBe(false);
  });
});
