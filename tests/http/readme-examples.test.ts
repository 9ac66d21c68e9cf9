/** The examples of the README, run as they stand. */
import { spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { startTestService, type TestService } from './service.ts';

const README = readFileSync(fileURLToPath(new URL('../../README.md', import.meta.url)), 'utf8');
const MAIN = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
let service: TestService;
let folder: string;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'readme-'));
  const [, mapping = ''] = /DRAINLEDGER_HL7V2`\):\n\n```json\n([\s\S]*?)```/.exec(README) ?? [];
  writeFileSync(join(folder, 'hl7v2.json'), mapping);
  const [, listener = ''] =
    /DRAINLEDGER_MLLP`\)[^`]*`peers`[\s\S]*?```json\n([\s\S]*?)```/.exec(README) ?? [];
  const { client, scope } = JSON.parse(listener);
  writeFileSync(join(folder, 'mllp.json'), JSON.stringify({ port: 0, client, scope, peers: ['127.0.0.1'] }));
  service = await startTestService({
    DRAINLEDGER_HL7V2: join(folder, 'hl7v2.json'),
    DRAINLEDGER_MLLP: join(folder, 'mllp.json'),
  });
  // Every call tells its status on a line of its own.
  writeFileSync(join(folder, '.curlrc'), 'write-out = "\\nstatus %{http_code}\\n"\n');
});
afterAll(async () => {
  await service.stop();
  rmSync(folder, { recursive: true });
});

/** Shell examples that call the service, in their order: later ones build on earlier ones. */
const EXAMPLES = [...README.matchAll(/```sh\n([\s\S]*?)```/g)]
  .map(([, block = '']) => block)
  .filter((block) => /curl |\/dev\/tcp\/|main\.js import /.test(block))
  .map((block) => block.replaceAll(/^node (?!dist\/cli\/main\.js import ).*$/gm, ''));

test.each([
  'v1/drains/tcpidup5aa63nq6j/entries',
  'v1/entries/lines',
  'import readings.ndjson',
  'import chart.csv',
  'v1/device-entries',
  'v1/hl7v2',
  '/dev/tcp/127.0.0.1/2575',
  'fhir/Observation',
  'fhir/DeviceUseStatement',
])('there is one by way of %s', (way) => {
  expect(EXAMPLES.some((block) => block.includes(way))).toBe(true);
});

test.each(EXAMPLES.map((block, n) => [n + 1, block] as const))('example %i', async (_, block) => {
  const { host, port } = new URL(service.url);
  const script = block
    .replaceAll('localhost:8080', host)
    .replaceAll('dist/cli/main.js', MAIN)
    .replaceAll('127.0.0.1/2575', `127.0.0.1/${service.mllpPort}`);
  // Not spawnSync: the service that is called runs in this very process.
  const { out, code } = await new Promise<{ out: string; code: number | null }>((resolve) => {
    const env = { ...process.env, CURL_HOME: folder, DRAINLEDGER_PORT: port };
    const child = spawn('bash', ['-e', '-c', script], { cwd: folder, env });
    let out = '';
    child.stdout.on('data', (data) => {
      out += data;
    });
    child.once('close', (code) => resolve({ out, code }));
  });
  expect(code, out).toBe(0);
  const statuses = [...out.matchAll(/^status (\d+)$/gm)].map(([, status]) => status);
  expect(statuses, out).toHaveLength(block.split('curl ').length - 1);
  for (const status of statuses) expect(['200', '201'], out).toContain(status);
  for (const [, told] of block.matchAll(/^# → 201 (\{"drain":"\w+")/gm)) expect(out).toContain(told);
  for (const [, told] of block.matchAll(/^# → (\d+ (?:recorded|would be).*)$/gm)) expect(out).toContain(told);
  for (const [, told] of block.matchAll(/^# → MSH.* {2}(MSA\|AA\|\w+)$/gm)) expect(out).toContain(told);
});
