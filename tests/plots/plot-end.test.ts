/** Where plots end: at the moment of the question, so that hours in which nothing was charted are seen as such. */
import { afterAll, beforeAll, describe, expect, test, vi } from 'vitest';
import { entry, level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

const day = (clock: string): string => `2025-03-01T${clock}:00Z`;
let service: TestService;
let drain: TestDrain;
let out: TestDrain;

beforeAll(async () => {
  // Before the service takes its clock.
  vi.useFakeTimers({ now: Date.parse(day('20:10')) + 29_000, toFake: ['Date'] });
  service = await startTestService({ DRAINLEDGER_ZONE: 'Europe/Berlin' });
  drain = await placeDrain(service, 'silent', day('08:00'));
  out = await placeDrain(service, 'out', day('08:00'));
  const read = { suction: { source: 'on', column_cmh2o: 20, bubbling: 'gentle' }, seal: { level_cmh2o: 4 } };
  for (const each of [drain, out]) {
    const key = each === drain ? 'silent' : 'out';
    await tell(
      each,
      setUp(`${key}-up`, day('08:00'), 0),
      level(`${key}-1`, day('09:00'), 100, read),
      level(`${key}-2`, day('10:00'), 160, read),
    );
  }
  await tell(out, entry('out-out', 'removed', day('11:00')));
});
afterAll(async () => {
  await service.stop();
  vi.useRealTimers();
});

const ask = (query: string, { format = 'svg', of = drain, held = '' } = {}) =>
  service.send('GET', `/v1/drains/${of.drain}/plot.${format}?${query}`, undefined, { 'if-none-match': held });
const plot = async (query: string, of = drain): Promise<string> => (await ask(query, { of })).text;
const panelOf = (svg: string, title: string): string =>
  svg.split('<g transform').find((part) => part.includes(`>${title}`)) ?? '';
/** Hatched, the one in the key aside. */
const gapsIn = (panel: string): number => (panel.match(/class="gap"/g) ?? []).length - 1;

describe('a plot of a drain that is in', () => {
  test('ends at this minute, and says so', async () => {
    expect(await plot('last_h=12')).toContain('2025-03-01 09:10 to 2025-03-01 21:10, Europe/Berlin');
  });

  test('is hatched where nothing was charted, in bars and in the sum', async () => {
    const svg = await plot('last_h=12');
    // 10:00 to 21:00, clock hours of which the last is not over.
    expect(gapsIn(panelOf(svg, 'Net drained by clock hour'))).toBe(11);
    expect(gapsIn(panelOf(svg, 'Net drained since placement'))).toBe(1);
  });

  test('is not hatched while a reading is not due yet', async () => {
    expect(gapsIn(panelOf(await plot(`to=${day('10:20')}`), 'Net drained since placement'))).toBe(0);
  });

  test('shows what was charted by a clock that is a little ahead', async () => {
    const ahead = await placeDrain(service, 'ahead', day('20:00'));
    await tell(ahead, setUp('ahead-up', day('20:00'), 0), level('ahead-1', day('20:13'), 20));
    expect(await plot('last_h=12', ahead)).toContain('to 2025-03-01 21:13, Europe/Berlin');
  });

  test.each(['svg', 'png'])(
    'is another picture in the next minute, and the same within one: %s',
    async (format) => {
      vi.setSystemTime(Date.parse(day('20:10')) + 30_000);
      const tag = (await ask('last_h=12', { format })).headers.get('etag') ?? '';
      vi.setSystemTime(Date.parse(day('20:10')) + 59_000);
      expect((await ask('last_h=12', { format, held: tag })).status).toBe(304);
      vi.setSystemTime(Date.parse(day('20:11')));
      const next = await ask('last_h=12', { format, held: tag });
      expect([next.status, next.headers.get('etag') === tag]).toEqual([200, false]);
    },
  );

  test('is the same for ever where its end is given', async () => {
    const query = `to=${day('12:00')}`;
    vi.setSystemTime(Date.parse(day('20:12')));
    const tag = (await ask(query)).headers.get('etag') ?? '';
    vi.setSystemTime(Date.parse(day('21:40')));
    expect((await ask(query, { held: tag })).status).toBe(304);
  });
});

test('a plot of a drain that is out ends with what was charted last', async () => {
  expect(await plot('last_h=12', out)).toContain('to 2025-03-01 12:00, Europe/Berlin');
});
