/**
 * Figures for Prometheus. Sources: its text format (instrumenting/exposition_formats), how metrics are named
 * (practices/naming), and that none should come and go (practices/instrumentation, "avoid missing metrics").
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type Guarded, startGuarded } from './access-control.ts';
import { level, placement, setUp } from './messages.ts';

let folder: string;
let guarded: Guarded;
let token: string;
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'metrics-'));
  guarded = await startGuarded({
    DRAINLEDGER_HEAD_FILE: join(folder, 'no "such"', 'head'),
    // Nobody listens there.
    DRAINLEDGER_EHR_URL: 'http://127.0.0.1:9/fhir',
  });
  token = await guarded.token({ scope: 'drainledger/metrics' });
});
afterAll(async () => {
  await guarded.stop();
  rmSync(folder, { recursive: true });
});

interface Family {
  readonly name: string;
  readonly type: string;
  readonly samples: ReadonlyMap<string, number>;
}

const scrape = async (): Promise<string> => (await guarded.send(token, 'GET', '/metrics')).text;

/** Help, type and samples of each, in this order and together, as the format has it. @throws where they are not */
function familiesIn(text: string): readonly Family[] {
  return text.split(/^(?=# HELP )/m).map((part) => {
    const [help = '', type = '', ...samples] = part.trimEnd().split('\n');
    const [, name = ''] = /^# HELP ([a-z0-9_]+) [A-Z].*\.$/.exec(help) ?? [];
    const [, of, kind = ''] = /^# TYPE ([a-z0-9_]+) (gauge|counter)$/.exec(type) ?? [];
    expect([of, name === ''], help).toEqual([name, false]);
    const read = samples.map((line) => {
      const [, full, labels = '', value] = /^([a-z0-9_]+)(\{.*\})? (\S+)$/.exec(line) ?? [];
      expect(full, line).toBe(name);
      return [labels, Number(value)] as const;
    });
    expect(new Set(read.map(([labels]) => labels)).size, `each once: ${name}`).toBe(read.length);
    return { name, type: kind, samples: new Map(read) };
  });
}

const figure = async (name: string, labels = ''): Promise<number | undefined> =>
  familiesIn(await scrape())
    .find((each) => each.name === name)
    ?.samples.get(labels);

test('names say what is counted, and in which unit; only counters end in _total', async () => {
  const text = await scrape();
  expect(text.endsWith('\n')).toBe(true);
  const families = familiesIn(text);
  expect(new Set(families.map(({ name }) => name)).size).toBe(families.length);
  for (const { name, type } of families) {
    expect(name).toMatch(/^(drainledger|process)_/);
    expect(name.endsWith('_total'), name).toBe(type === 'counter');
    // Base units: seconds and bytes.
    expect(name).not.toMatch(/milli|minute|hour|kilo|mega|_ms\b/);
  }
});

test('what has not happened yet is 0, and not missing', async () => {
  const families = familiesIn(await scrape());
  const labelsOf = (name: string) => [...(families.find((each) => each.name === name)?.samples.keys() ?? [])];
  for (const kind of [
    'taken',
    'accepted',
    'refused',
    'conflict',
    'unauthorized',
    'forbidden',
    'later',
    'unknown',
  ])
    expect(labelsOf('drainledger_delivery_requests_total')).toContain(`{target="ehr",class="${kind}"}`);
  expect(labelsOf('drainledger_delivery_set_aside')).toEqual(
    ['dead', 'skipped', 'accepted'].map((state) => `{target="ehr",state="${state}"}`),
  );
});

test('the log grows by what is charted, can be written, and says for how long a place has taken no checkpoint', async () => {
  const before = await figure('drainledger_log_entries_total');
  const charter = await guarded.token({ scope: 'system/Observation.cr' });
  const { drain } = JSON.parse((await guarded.send(charter, 'POST', '/v1/drains', placement('m'))).text);
  for (const entry of [setUp('m-up', '08:00', 0), level('m-1', '09:00', 50)])
    await guarded.send(charter, 'POST', `/v1/drains/${drain}/entries`, entry);
  // Reads and refusals are entries as well.
  expect(await figure('drainledger_log_entries_total')).toBeGreaterThanOrEqual((before ?? Infinity) + 3);
  expect(await figure('drainledger_log_writable')).toBe(1);
  // Quotation marks in labels are escaped.
  const sink = `{sink="the head file ${folder}/no \\"such\\"/head"}`;
  await expect
    .poll(() => figure('drainledger_checkpoint_sink_failing_seconds', sink), { timeout: 5000 })
    .toBeGreaterThan(0);
});

test('the process says how much memory it holds and since when it runs, under the names that all use', async () => {
  expect(await figure('process_resident_memory_bytes')).toBeGreaterThan(10_000_000);
  const start = (await figure('process_start_time_seconds')) ?? 0;
  expect(Math.abs(Date.now() / 1000 - process.uptime() - start)).toBeLessThan(2);
});

test('who reads them need not be able to do anything else', async () => {
  const status = async (scope: string, path: string) =>
    (await guarded.send(await guarded.token({ scope }), 'GET', path)).status;
  expect(await status('drainledger/metrics', '/metrics')).toBe(200);
  expect(await status('drainledger/operate', '/metrics')).toBe(200);
  expect(await status('drainledger/audit', '/metrics')).toBe(403);
  for (const path of ['/v1/deliveries', '/v1/targets', '/v1/drains', '/audit/'])
    expect(await status('drainledger/metrics', path), path).toBe(403);
});
