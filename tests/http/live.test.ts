/** Server-sent events: each entry once, in the order of the ledger, resumable, and a slow reader harms nobody. */
import type { ServerResponse } from 'node:http';
import { Writable } from 'node:stream';
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest';
import { createLive, LIVE_LIMITS } from '../../src/http/live.ts';
import type { CommitListener, Committed } from '../../src/store/port.ts';
import { level, placeDrain, setUp, type TestDrain, tell, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'live', '08:00', { patient: { reference: 'Patient/live' } });
});
afterAll(() => service.stop());

interface Told {
  readonly id: number;
  readonly event: string;
  readonly data: { readonly drain?: string; readonly sequence?: number; readonly kind?: string };
}

/** Reads a stream until it has said so many events. */
async function listen(path: string, headers: Record<string, string> = {}) {
  const stop = new AbortController();
  const answer = await fetch(`${service.url}${path}`, { headers, signal: stop.signal });
  const reader = answer.body?.pipeThrough(new TextDecoderStream()).getReader();
  let text = '';
  const events = (): Told[] =>
    [...text.matchAll(/id: (-?\d+)\nevent: (\w+)\ndata: (.*)\n\n/g)].map(([, id, event = '', data = '']) => ({
      id: Number(id),
      event,
      data: JSON.parse(data),
    }));
  return {
    answer,
    async until(count: number): Promise<Told[]> {
      while (events().length < count) {
        const { done, value } = (await reader?.read()) ?? { done: true, value: '' };
        if (done) throw new Error(`it ended after ${text}`);
        text += value;
      }
      return events();
    },
    stop: () => stop.abort(),
  };
}

test('tells each entry as it becomes durable, of the drain and of its patient, without a word of what it says', async () => {
  const other = await placeDrain(service, 'live-other', '08:00', { patient: { reference: 'Patient/live' } });
  const stranger = await placeDrain(service, 'live-stranger', '08:00');
  const [own, ward] = await Promise.all([
    listen(`/v1/drains/${drain.drain}/live`),
    listen('/v1/overview/live'),
  ]);
  expect(own.answer.headers.get('content-type')).toBe('text/event-stream; charset=utf-8');
  // RFC 9111, 5.2.2.6: no proxy compresses it on the way, and holds events back until a block is full.
  expect(own.answer.headers.get('cache-control')).toBe('no-store, no-transform');
  expect((await own.until(1))[0]).toMatchObject({ event: 'now', data: {} });
  await ward.until(1);
  await tell(drain, setUp('up', '08:00', 0));
  await tell(stranger, setUp('stranger-up', '08:00', 0));
  await tell(other, setUp('other-up', '08:00', 0));
  await tell(drain, level('a', '09:00', 100), voided('v', 'a'));
  const told = (await own.until(5)).slice(1);
  expect(told.map(({ data }) => [data.drain, data.kind])).toEqual([
    [drain.drain, 'set-up'],
    [other.drain, 'set-up'],
    [drain.drain, 'reading'],
    [drain.drain, 'entered-in-error'],
  ]);
  const ids = (await ward.until(6)).map(({ id }) => id);
  expect(ids).toEqual([...ids].sort((a, b) => a - b));
  expect(Object.keys(told[0]?.data ?? {})).toEqual(['drain', 'sequence', 'kind', 'recorded_at']);
  own.stop();
  ward.stop();
});

test('a reader that comes back with the last id is told what it missed, once, and then what comes', async () => {
  const first = await listen(`/v1/drains/${drain.drain}/live`);
  const [{ id } = { id: 0 }] = await first.until(1);
  first.stop();
  await tell(drain, level('b', '10:00', 110), level('c', '11:00', 120));
  const back = await listen(`/v1/drains/${drain.drain}/live`, { 'last-event-id': String(id) });
  const told = await back.until(3);
  expect(told.map(({ event, data }) => [event, data.kind])).toEqual([
    ['entry', 'reading'],
    ['entry', 'reading'],
    ['now', undefined],
  ]);
  await tell(drain, level('d', '12:00', 130));
  const [newest] = (await back.until(4)).slice(-1);
  expect(newest).toMatchObject({ event: 'entry', data: { sequence: 7 } });
  back.stop();
});

test('a reader that comes back is told that a drain was taken from its patient, as one that stayed is', async () => {
  const own = await placeDrain(service, 'left-with', '08:00', { patient: { reference: 'Patient/left' } });
  const other = await placeDrain(service, 'taken-from', '08:00');
  await tell(other, {
    ...level('link', '08:30', 0),
    ...{ kind: 'drain-updated', level_ml: undefined, patient: { reference: 'Patient/left' } },
  });
  const stayed = await listen(`/v1/drains/${own.drain}/live`);
  const [{ id } = { id: 0 }] = await stayed.until(1);
  await tell(other, voided('unlink', 'link'));
  const due = { event: 'entry', data: { drain: other.drain, kind: 'entered-in-error' } };
  expect((await stayed.until(2))[1]).toMatchObject(due);
  stayed.stop();
  // What comes after is no longer of the patient.
  await tell(other, setUp('taken-up', '09:00', 0));
  const back = await listen(`/v1/drains/${own.drain}/live`, { 'last-event-id': String(id) });
  expect(await back.until(2)).toMatchObject([due, { event: 'now' }]);
  back.stop();
});

test('what is refused, run dry or sent again is told to nobody', async () => {
  const stream = await listen(`/v1/drains/${drain.drain}/live`);
  await stream.until(1);
  await drain.enter(level('d', '12:00', 130));
  await drain.enter(level('d', '12:00', 131));
  await drain.enter(level('bad', '12:00', -1));
  await service.send('POST', `/v1/drains/${drain.drain}/entries?dry-run=true`, level('dry', '13:00', 140));
  await service.send('POST', '/v1/entries', {
    entries: [
      {
        together: [
          { drain: drain.drain, ...level('half', '13:00', 140) },
          { drain: 'none', ...level('other-half', '13:00', 140) },
        ],
      },
    ],
  });
  await tell(drain, level('e', '14:00', 150));
  const told = await stream.until(2);
  expect(told.slice(1).map(({ data }) => data.sequence)).toEqual([8]);
  stream.stop();
});

test('a place that this ledger never reached, and no number at all', async () => {
  const ahead = await listen('/v1/overview/live', { 'last-event-id': '999999' });
  expect((await ahead.until(1))[0]).toMatchObject({ event: 'reset' });
  ahead.stop();
  const { status, text } = await service.send('GET', '/v1/overview/live', undefined, {
    'last-event-id': 'x',
  });
  expect([status, JSON.parse(text).errors[0].pointer]).toEqual([400, 'last-event-id']);
  expect((await service.send('GET', '/v1/drains/none/live')).status).toBe(404);
});

test('streams end when the service stops, and do not hold it up', async () => {
  const own = await startTestService();
  const answer = await fetch(`${own.url}/v1/overview/live`);
  const started = Date.now();
  const [text] = await Promise.all([answer.text(), own.stop()]);
  expect(text).toContain('event: now');
  expect(Date.now() - started).toBeLessThan(3000);
});

/** A store that has committed nothing, and a response that nobody reads. */
function standIns() {
  let listener: CommitListener | null = null;
  const store = {
    committedAfter: (after: number, most: number): Committed[] =>
      Array.from({ length: Math.min(most, 5000 - after) }, (_, n) => committed(after + n + 1)),
    newestLogIndex: () => 5000,
    listen(each: CommitListener) {
      listener = each;
      return () => {
        listener = null;
      };
    },
  };
  const commit = (n: number) => listener?.(committed(n), ['d']);
  return { store, commit, isListening: () => listener !== null };
}

const committed = (logIndex: number): Committed => ({
  ...{ logIndex, drain: 'd', seq: logIndex, kind: 'reading', recordedAt: '2025-03-01T08:00:00.000Z' },
});

/** @param isRead whether what is written is taken off it */
function response(isRead: boolean): ServerResponse & { text(): string } {
  let text = '';
  const stream = new Writable({
    write(chunk, _encoding, done) {
      text += chunk;
      if (isRead) done();
    },
  });
  return Object.assign(stream, { writeHead: () => stream, text: () => text }) as never;
}

describe('a slow reader', () => {
  test('is let go once so much lies unread; the others are told all', () => {
    const { store, commit } = standIns();
    const live = createLive(store);
    const [slow, quick] = [response(false), response(true)];
    live.begin(slow, () => true, null);
    live.begin(quick, () => true, null);
    let most = 0;
    for (let n = 1; n <= 2000; n += 1) {
      commit(5000 + n);
      most = Math.max(most, slow.writableLength);
    }
    expect(slow.destroyed).toBe(true);
    expect(most).toBeLessThan(LIVE_LIMITS.mostUnreadBytes + 1024);
    expect(quick.destroyed).toBe(false);
    expect(quick.text().match(/event: entry/g)).toHaveLength(2000);
    live.close();
  });

  test('too many at once are not taken, and nobody listening costs nothing', async () => {
    const { store, isListening } = standIns();
    const live = createLive(store, { ...LIVE_LIMITS, mostReaders: 1 });
    const only = response(true);
    live.begin(only, () => true, null);
    expect([live.isFull(), isListening()]).toEqual([true, true]);
    only.destroy();
    await vi.waitFor(() => expect([live.isFull(), isListening()]).toEqual([false, false]));
  });

  test('what was missed is told up to a limit, beyond it the reader asks anew', () => {
    const { store } = standIns();
    const live = createLive(store, { ...LIVE_LIMITS, mostMissed: 100 });
    const [few, many] = [response(true), response(true)];
    live.begin(few, () => true, 4900);
    live.begin(many, () => true, 4899);
    expect(few.text().match(/event: entry/g)).toHaveLength(100);
    expect(many.text()).toContain('event: reset');
    expect(many.text()).not.toContain('event: entry');
    live.close();
  });

  test('a quiet stream gives a sign of life that scripts see, and keeps its place while others are charted', () => {
    vi.useFakeTimers();
    const { store } = standIns();
    const live = createLive(store);
    const reader = response(true);
    live.begin(reader, () => false, null);
    store.newestLogIndex = () => 5001;
    vi.advanceTimersByTime(LIVE_LIMITS.beatMs);
    store.newestLogIndex = () => 9000;
    vi.advanceTimersByTime(LIVE_LIMITS.beatMs);
    vi.useRealTimers();
    expect(reader.text().match(/id: \d+\nevent: now\ndata: {}\n\n/g)).toEqual(
      [5000, 5001, 9000].map((id) => `id: ${id}\nevent: now\ndata: {}\n\n`),
    );
    live.close();
  });
});
