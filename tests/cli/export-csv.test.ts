/** Drains as CSV from the database of a service that runs: to the letter what the service itself answers. */
import { execFile, spawn } from 'node:child_process';
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';
import { parse } from 'csv-parse/sync';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { at, content, corrected, level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
let service: TestService;
let drains: readonly TestDrain[];
beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  service = await startTestService({ DRAINLEDGER_ZONE: 'Europe/Berlin' });
  const patient = { reference: 'Patient/sheet' };
  const one = await placeDrain(service, 'one', '08:00', { patient });
  const two = await placeDrain(service, 'two', '08:00', { patient });
  const other = await placeDrain(service, 'other', '08:00', { patient: { reference: 'Patient/other' } });
  drains = [one, two, other];
  for (const [n, drain] of drains.entries())
    await tell(
      drain,
      setUp(`up-${n}`, '08:00', 0),
      level(`a-${n}`, '09:00', 100),
      level(`b-${n}`, '11:00', 120),
    );
  await tell(one, corrected('late', 'a-0', content(level('', '09:00', 110))));
});
afterAll(() => service.stop());

/** Not spawnSync: the service runs in this very process. */
function cli(...args: string[]): Promise<{ code: number | null; out: string; err: string }> {
  return new Promise((resolve) => {
    const child = spawn(process.execPath, [CLI, 'export', join(service.folder, 'ledger.db'), ...args], {
      env: { PATH: process.env.PATH },
    });
    let [out, err] = ['', ''];
    child.stdout.on('data', (data) => {
      out += data;
    });
    child.stderr.on('data', (data) => {
      err += data;
    });
    child.once('close', (code) => resolve({ code, out, err }));
  });
}
const answered = async ({ drain }: TestDrain, query = ''): Promise<string> =>
  (await service.send('GET', `/v1/drains/${drain}/export.csv${query}`)).text;
const drainsIn = (text: string): readonly string[] => [
  ...new Set(parse(text, { columns: true }).map((record) => (record as { drain: string }).drain)),
];

test('of a drain it is what the service answers, also of a time', async () => {
  const [one] = drains;
  if (one === undefined) throw new Error('no drain');
  expect(await cli('--drain', one.drain)).toEqual({ code: 0, out: await answered(one), err: '' });
  const [from, to] = [at('09:00'), at('10:00')];
  const part = await cli('--drain', one.drain, '--from', from, '--to', to);
  expect(part.out).toBe(await answered(one, `?from=${from}&to=${to}`));
  expect(part.out).not.toBe(await answered(one));
});

test('of a patient it has all drains under one header, and no other', async () => {
  const mine = drains.slice(0, 2).sort((a, b) => (a.drain < b.drain ? -1 : 1));
  const texts = await Promise.all(mine.map((drain) => answered(drain)));
  const { out } = await cli('--patient', 'Patient/sheet');
  expect(out).toBe(texts.map((text, n) => (n === 0 ? text : text.slice(text.indexOf('\r\n') + 2))).join(''));
  expect(drainsIn(out)).toEqual(mine.map(({ drain }) => drain));
});

test('of a time it has all drains; a file is whole, its owner’s alone, and never written over', async () => {
  const file = join(service.folder, 'all.csv');
  const asked = ['--from', at('00:00'), '--to', '2025-03-02T00:00:00Z', '--out', file];
  expect(await cli(...asked)).toEqual({ code: 0, out: '', err: '' });
  expect(drainsIn(readFileSync(file, 'utf8'))).toEqual(drains.map(({ drain }) => drain).sort());
  expect(statSync(file).mode & 0o777).toBe(0o600);
  expect(readdirSync(service.folder).filter((name) => name.includes('draft'))).toEqual([]);
  expect(await cli(...asked)).toMatchObject({ code: 64, err: `${file} is there already: give a new path\n` });
});

test('more than a pipe holds arrives whole', async () => {
  const long = await placeDrain(service, 'long', '08:00', { patient: { reference: 'Patient/long' } });
  const times = Array.from({ length: 40 }, (_, n) => `${9 + Math.floor(n / 10)}:${10 + (n % 10) * 5}`);
  const levels = times.map((time, n) => level(`long-${n}`, time.padStart(5, '0'), n * 5));
  await tell(long, setUp('up-long', '08:00', 0), ...levels);
  const whole = await answered(long);
  // A pipe of Linux holds 64 KiB (pipe(7)); what Node gives a child is a socket, which holds more.
  expect(whole.length).toBeGreaterThan(4 * 65_536);
  const [ledger, file] = [join(service.folder, 'ledger.db'), join(service.folder, 'piped.csv')];
  const command = [process.execPath, CLI, 'export', ledger, '--drain', long.drain];
  await promisify(execFile)('sh', ['-c', '"$@" | (sleep 1; cat) > "$0"', file, ...command]);
  expect(readFileSync(file, 'utf8')).toBe(whole);
});

test.each([
  [['--drain', 'none'], 'there is no such drain: none'],
  [['--patient', 'Patient/none'], 'there is no such patient: Patient/none'],
  [['--drain', 'd', '--from', '2025-03-01'], '2025-03-01 is no moment with an offset'],
  [['--from', '2025-03-01T00:00:00Z'], 'no such command'],
  [['--drain', 'd', '--patient', 'p'], 'no such command'],
])('%j is refused with what is wrong', async (args, words) => {
  const { code, err } = await cli(...args);
  expect([code, err]).toEqual([64, expect.stringContaining(words)]);
});
