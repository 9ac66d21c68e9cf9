import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { issuedTexts } from '../../src/demo/compare.ts';
import { definitions } from '../../src/fhir/definitions/definitions.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { brokenInvariants } from '../support/invariants.ts';
import { createProfileJudge } from '../support/profiles.ts';
import type { JsonObject } from '../support/r4-own-rules.ts';

const script = resolve(import.meta.dirname, '../../dist/cli/main.js');
const SLOW_MS = 90_000;

interface Ended {
  readonly code: number | null;
  readonly out: string;
  readonly err: string;
}

/** Runs the command as a process of its own; `until` sees what it has printed so far and may send a signal. */
function run(args: readonly string[], until?: (out: string) => NodeJS.Signals | null): Promise<Ended> {
  const child = spawn(process.execPath, [script, ...args]);
  let out = '';
  let err = '';
  let signalled = false;
  child.stdout.on('data', (chunk: Buffer) => {
    out += chunk.toString();
    const signal = signalled ? null : (until?.(out) ?? null);
    if (signal === null) return;
    signalled = true;
    child.kill(signal);
  });
  child.stderr.on('data', (chunk: Buffer) => {
    err += chunk.toString();
  });
  return new Promise((done) => child.once('close', (code) => done({ code, out, err })));
}

describe('demo --once', () => {
  let keep = '';
  let demo: Ended = { code: null, out: '', err: '' };

  beforeAll(async () => {
    keep = mkdtempSync(join(tmpdir(), 'drainledger-demo-test-'));
    demo = await run(['demo', '--once', '--keep-database', keep]);
  }, SLOW_MS);
  afterAll(() => rmSync(keep, { recursive: true }));

  test('ends well, because the EHR holds what the service issued', () => {
    expect(demo.err).toBe('');
    expect(demo.out).toMatch(/Yes: (\d+) resources issued, \1 at the EHR/);
    expect(demo.code).toBe(0);
  });

  test('every resource that it issues conforms to the profiles published for it, and keeps the invariants of R4 and US Core', () => {
    const judge = createProfileJudge(definitions('http://example.org/drainledger', DEFAULT_TABLE));
    const texts = [...issuedTexts(join(keep, 'ledger.sqlite')).values()];
    const problems = texts.flatMap((text) => {
      const resource = JSON.parse(text) as JsonObject;
      const broken = resource.resourceType === 'Observation' ? brokenInvariants(resource) : [];
      return [...judge(resource), ...broken].map((problem) => `${resource.id}: ${problem}`);
    });
    expect(problems).toEqual([]);
    expect(texts.length).toBeGreaterThan(1000);
  }, 60_000);

  test('says first what it is not, and that all is invented', () => {
    const [start = ''] = demo.out.split('Two servers');
    expect(start).toContain('Not an alarm and not a medical device');
    expect(start).toContain('it gives no treatment advice');
    expect(start).toContain('Local policy and the responsible clinician decide.');
    expect(start).toContain('Everything below is invented');
  });

  test.each([
    // 640 - 570 mL in 1 h; 20 + 4 cm H2O.
    ['an hour on suction', /reading +640 +70 +70\.0 +20 \+ 4 +24 4 continuous/],
    // 16:00 with 1070 - 990 mL in 4 h; the column does not bubble: 5 to 20 + 5.
    ['suction that nothing proves', /reading +1070 +80 +20\.0 +20 \+ 5 +5 to 25 .*SUCTION WITHOUT/],
    // Suction off: what is left is the seal.
    ['suction off', /reading +off \+ 3 +3 2 expiratory/],
    // 1340 - 1330 = 10 mL, less the 30 mL put in, in 2 h 20 min.
    ['a flush that has not come back', /reading +1340 +-20 +-8\.6 .*net: 10 drained - 30/],
    // 1530 - 1430 = 100 mL and a sample of 10 mL in 4 h, charted after the two readings that follow it.
    ['a late reading with a sample', /reading +1530 +110 +27\.5 .*net: 100 drained/],
    // 1880 - 1860 = 20 mL, then 70 mL in the new unit: 90 mL in 4 h.
    ['a unit change', /unit changed +0 +\(20\) .*closed at 1880 mL\n.*reading +70 +90 +22\.5 /],
    // 205 - 140 = 65 mL in 4 h: 16.25, rounded half to even.
    ['a corrected level', /reading +205 +65 +16\.2 /],
    ['the worst hour of the bleeding', /reading +670 +320 +320\.0 +20 \+ 3 +23 /],
    ['a unit thrown away before it was read', /reading +60 +>=60 +\? .*net at least, no rate: no/],
    // 54 - 20 = 34 mL in 4 h, of a child of 12.4 kg: 0.685; of 4 h one was clamped.
    ['rate by weight and clamp', /reading +244 +34 +8\.5 +0\.69 .*11\.3 mL\/h over/],
    // 1860 - 480 + 20 + 250 = 1650 mL drained, + 10 - 30.
    ['the sum', /Net since the first level, up to .*: 1630 mL \(drained 1650, sampled 10, instilled 30\)/],
  ])('shows %s', (_what, line) => {
    expect(demo.out).toMatch(line);
  });

  test('shows a refusal with its mend, and that a resend writes nothing', () => {
    expect(demo.out).toContain('"detail": "/suction/column_cmh2o is negative: send 20');
    expect(demo.out).toContain('Answer 200, with the text of the first answer');
  });

  test('shows what a late unit change turns back into numbers', () => {
    // The 24 mL before the fall were in doubt; 432 - 420 = 12 mL and 10 mL in the new unit follow them.
    const doubt =
      /net +24 mL +rate +6\.0 mL\/h +rise in doubt.*\n.*net +\? mL +rate +\? mL\/h +unexplained fall\n/;
    const after =
      / +after:\n.*net +24 mL +rate +6\.0 mL\/h\n.*net +\(12\) mL.*\n.*net +22 mL +rate +5\.5 mL\/h\n/;
    expect(demo.out).toMatch(new RegExp(doubt.source + after.source));
  });

  test('fits a terminal of 120 columns, but for addresses', () => {
    const wide = demo.out.split('\n').filter((line) => line.length > 120 && !line.includes('http'));
    expect(wide).toEqual([]);
  });

  test('keeps the database where it was told to, and does not write over it', async () => {
    expect(readdirSync(keep)).toContain('ledger.sqlite');
    const again = await run(['demo', '--once', '--keep-database', keep]);
    expect(again.code).toBe(1);
    expect(again.err).toContain('is there already');
  });
});

test('runs until it is told to stop, and leaves nothing behind', { timeout: SLOW_MS }, async () => {
  const demo = await run(['demo'], (out) => (out.includes('Running until') ? 'SIGTERM' : null));
  expect(demo.err).toBe('');
  expect(demo.code).toBe(0);
  const database = /its database +(\S+)/.exec(demo.out)?.[1] ?? '';
  expect(database).not.toBe('');
  expect(existsSync(resolve(database, '..'))).toBe(false);
  const service = /service +(http\S+)/.exec(demo.out)?.[1] ?? '';
  await expect(fetch(`${service}/livez`)).rejects.toThrow();
});

test('a check that was cut short does not pass', { timeout: SLOW_MS }, async () => {
  const demo = await run(['demo', '--once'], (out) => (out.includes('are sent to the') ? 'SIGTERM' : null));
  expect(demo.code).toBe(130);
});

test.each([
  ['no command', []],
  ['an unknown command', ['brew']],
  ['an unknown option', ['demo', '--twice']],
  ['two commands', ['demo', 'demo']],
])('%s: usage and exit code 64', async (_what, args) => {
  const { code, err, out } = await run(args);
  expect(code).toBe(64);
  expect(err).toContain('Usage:');
  expect(out).toBe('');
});

test('--help: usage and exit code 0', async () => {
  const { code, out } = await run(['--help']);
  expect(code).toBe(0);
  expect(out).toContain('demo [--once] [--keep-database DIR]');
});
