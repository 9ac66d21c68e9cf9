/** A file of entries, sent by the command line to a running service. */
import { type ChildProcess, spawn } from 'node:child_process';
import { chmodSync, existsSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { startGuarded } from '../http/access-control.ts';
import { byDevice } from '../http/device-ward.ts';
import { id, level, placement, setUp } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

const MAIN = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
let service: TestService;
let folder: string;
beforeEach(async () => {
  service = await startTestService();
  folder = mkdtempSync(join(tmpdir(), 'import-'));
});
afterEach(async () => {
  await service.stop();
  rmSync(folder, { recursive: true });
});

const run = (...args: string[]) => runAt(service.url, ...args);
async function runAt(url: string, ...args: string[]) {
  const child: ChildProcess = spawn(process.execPath, [MAIN, 'import', ...args, '--url', url]);
  let out = '';
  child.stdout?.on('data', (data) => {
    out += data;
  });
  child.stderr?.on('data', (data) => {
    out += data;
  });
  const code = await new Promise((resolve) => child.once('close', resolve));
  return { code, out };
}

const DRAIN = { drain: id('placed') };
const PLACED = { kind: 'placed', ...placement('placed') };
const UP = { ...DRAIN, ...setUp('up', '08:00', 0) };
const write = (name: string, lines: readonly (object | string)[]): string => {
  const file = join(folder, name);
  writeFileSync(
    file,
    lines.map((line) => (typeof line === 'string' ? line : JSON.stringify(line))).join('\n'),
  );
  return file;
};

const COLUMNS = {
  system: 'urn:example:flowsheet',
  key: ['row'],
  drain: { system: DRAIN.drain.system, column: 'drain' },
  author: { type: 'person', system: 'urn:example:staff', column: 'by' },
  time: { column: 'at' },
  item: 'what',
  value: 'value',
  unit: 'unit',
  items: { 'Chamber, mL': 'level' },
};

test('lines: what is refused is kept, mended and sent again; nothing is taken twice', async () => {
  const bad = { ...DRAIN, ...level('b', '10:00', -5) };
  const file = write('all.ndjson', [PLACED, UP, { ...DRAIN, ...level('a', '09:00', 5) }, bad, '{"half":']);
  // Twice, as whoever mends a file does; what it shows is in nobody's way.
  for (let times = 0; times < 2; times += 1) {
    const dry = await run(file, '--dry-run');
    expect([dry.code, dry.out]).toEqual([1, expect.stringContaining('nothing was written')]);
    expect(dry.out).toContain(`2 would be refused: see ${file}.would-be-refused`);
  }
  expect(JSON.parse((await service.send('GET', '/v1/drains')).text).drains).toEqual([]);
  const first = await run(file);
  expect([first.code, first.out]).toEqual([
    1,
    expect.stringContaining('3 recorded, 0 were recorded before; 2 refused'),
  ]);
  expect(first.out).toMatch(/^4: \/level_ml is negative: .* \(-5\)$/m);
  const refused = `${file}.refused`;
  expect(readFileSync(refused, 'utf8')).toBe(`${JSON.stringify(bad)}\n{"half":\n`);
  expect(statSync(refused).mode & 0o077, 'for its owner alone').toBe(0);
  const again = await run(file);
  expect([again.code, again.out]).toEqual([64, expect.stringContaining('mend and send that first')]);
  const mended = write('mended.ndjson', [{ ...bad, level_ml: 5 }]);
  expect(await run(mended)).toMatchObject({ code: 0, out: expect.stringContaining('1 recorded') });
});

test('what names a device that is on no drain is kept by the service, so it is told and not refused', async () => {
  const file = write('devices.ndjson', [PLACED, byDevice('d1', '10:00', 10), byDevice('d2', '11:00', 20)]);
  const { code, out } = await run(file);
  expect([code, out]).toEqual([
    0,
    '1 recorded, 0 were recorded before; 2 kept though their device was on no drain then: see /v1/unmatched.\n',
  ]);
  expect(existsSync(`${file}.refused`)).toBe(false);
  expect(JSON.parse((await service.send('GET', '/v1/unmatched')).text).count).toBe(2);
  expect(await run(file)).toEqual({ code: 0, out: '0 recorded, 3 were recorded before.\n' });
});

test('each refusal begins with its line in the file, blank ones and those that were not sent counted', async () => {
  const bad = (key: string) => ({ ...DRAIN, ...level(key, '10:00', -5) });
  const file = write('gaps.ndjson', [PLACED, '', 'x'.repeat(300_000), '', bad('b'), bad('c')]);
  const { code, out } = await run(file);
  expect([code, out.match(/^\d+: /gm)]).toEqual([1, ['3: ', '5: ', '6: ']]);
});

test('CSV by a mapping, refused rows with the header', async () => {
  await service.send('POST', '/v1/drains', placement('placed'));
  const mapping = write('map.json', [COLUMNS]);
  const file = write('rows.csv', [
    '\ufeffrow,drain,by,at,what,value,unit',
    '1,placed,n1,2025-03-01T09:00:00Z,"Chamber, mL",0.12,L',
    '2,placed,n1,2025-03-01T10:00:00Z,"Chamber, mL","12,5",mL',
    '3,elsewhere,n1,2025-03-01T11:00:00Z,"Chamber, mL",13,mL',
  ]);
  const { code, out } = await run(file, '--mapping', mapping);
  expect([code, out]).toEqual([1, expect.stringContaining('1 recorded')]);
  // The header is line 1.
  expect(out).toMatch(/^3: value "12,5" has a decimal comma/m);
  expect(out).toMatch(/^4: \/drain /m);
  expect(readFileSync(`${file}.refused`, 'utf8').split('\n')).toEqual([
    'row,drain,by,at,what,value,unit',
    '2,placed,n1,2025-03-01T10:00:00Z,"Chamber, mL","12,5",mL',
    '3,elsewhere,n1,2025-03-01T11:00:00Z,"Chamber, mL",13,mL',
    '',
  ]);
  const missing = await run(write('other.csv', ['row,drain', '1,2']), '--mapping', mapping);
  expect([missing.code, missing.out]).toEqual([
    64,
    expect.stringContaining('has no column by, at, what, value, unit'),
  ]);
});

test('a file that is no CSV further on: where it is not, and what was recorded before', async () => {
  await service.send('POST', '/v1/drains', placement('placed'));
  const mapping = write('map.json', [COLUMNS]);
  const head = 'row,drain,by,at,what,value,unit';
  const time = (n: number): string => new Date(Date.UTC(2025, 2, 1, 9, n)).toISOString();
  // Longer than what is read of a file at once, 64 KiB.
  const by = 'n'.repeat(100);
  const row = (n: number, value = `${n}`) => `${n},placed,${by},${time(n)},"Chamber, mL",${value},mL`;
  const rows = Array.from({ length: 600 }, (_, n) => row(n + 1, n === 1 ? 'about 2' : undefined));
  const short = await run(write('short.csv', [head, ...rows, '601,placed']), '--mapping', mapping);
  const told =
    /on line 602; (\d+) recorded before that, 1 refused: mend it and import the same file again/.exec(
      short.out,
    );
  expect([short.code, short.out]).toEqual([64, expect.stringContaining(told?.[0] ?? 'on line 602; ')]);
  expect(readFileSync(join(folder, 'short.csv.refused'), 'utf8')).toBe(`${head}\n${rows[1]}\n`);
  const recorded = Number(told?.[1]);
  expect(recorded).toBeGreaterThan(0);
  const mended = await run(
    write('mended.csv', [head, ...rows.toSpliced(1, 1, row(2))]),
    '--mapping',
    mapping,
  );
  expect(mended.out).toBe(`${600 - recorded} recorded, ${recorded} were recorded before.\n`);
  const empty = await run(write('empty.csv', []), '--mapping', mapping);
  expect([empty.code, empty.out]).toEqual([64, expect.stringContaining('has no header')]);
  const other = await run(write('semicolons.csv', [head.replaceAll(',', ';')]), '--mapping', mapping);
  expect([other.code, other.out]).toEqual([64, expect.stringContaining('say by delimiter in the mapping')]);
});

test('no service, no file, a bad mapping: said in words', async () => {
  const file = write('one.ndjson', [PLACED]);
  const bad = await run(file, '--mapping', write('bad.json', [{ colour: 1 }]));
  expect([bad.code, bad.out]).toEqual([64, expect.stringContaining('cannot be used as a mapping')]);
  expect(bad.out).toContain('/colour 1 is no field of this: remove it');
  expect(bad.out).toContain('/system is missing: send text');
  const broken = await run(file, '--mapping', write('broken.json', ['{"system":']));
  expect([broken.code, broken.out]).toEqual([64, expect.stringContaining('broken.json: ')]);
  const unmapped = await run(write('chart.csv', ['row,drain', '1,2']));
  expect([unmapped.code, unmapped.out]).toEqual([64, expect.stringContaining('--mapping FILE')]);
  const { code, out } = await run(join(folder, 'none'));
  expect([code, out]).toEqual([64, expect.stringContaining('none')]);
});

test('a service that asks who sends: with a key in a file for its owner alone', async () => {
  const guarded = await startGuarded();
  try {
    const file = write('one.ndjson', [PLACED]);
    const unknown = await runAt(guarded.service.url, file);
    expect([unknown.code, unknown.out]).toEqual([64, expect.stringContaining('answers 401')]);
    const key = join(folder, 'key');
    writeFileSync(key, guarded.key('system/Observation.crus'), { mode: 0o644 });
    const open = await runAt(guarded.service.url, file, '--token-file', key);
    expect([open.code, open.out]).toEqual([64, expect.stringContaining('can be read by others')]);
    chmodSync(key, 0o600);
    const { code, out } = await runAt(guarded.service.url, file, '--token-file', key);
    expect([code, out]).toEqual([0, expect.stringContaining('1 recorded')]);
  } finally {
    await guarded.stop();
  }
});
