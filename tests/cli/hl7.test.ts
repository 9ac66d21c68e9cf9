/** `hl7 check`: what a message would become, without a service. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { levelObx, MAPPING, message, obx, writeMapping } from '../hl7v2/messages.ts';

const MAIN = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
let folder: string;
let mapping: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'hl7-check-'));
  mapping = writeMapping(folder);
});
afterAll(() => rmSync(folder, { recursive: true }));

function check(text: string, ...more: readonly string[]) {
  const file = join(folder, 'message.hl7');
  // As an editor would save it.
  writeFileSync(file, text.replaceAll('\r', '\n'));
  const args = [MAIN, 'hl7', 'check', file, ...(more.length > 0 ? more : ['--mapping', mapping])];
  const { status, stdout, stderr } = spawnSync(process.execPath, args, {
    encoding: 'utf8',
    env: { PATH: process.env.PATH },
  });
  return { status, stdout, stderr };
}

test('says what it would become', () => {
  const { status, stdout } = check(message({}, levelObx('120.50'), obx('CWE', 'SWING^^99WARD', '', '', 'X')));
  expect(status).toBe(0);
  expect(stdout).toContain('drain placed as urn:example:ward|drain-1: is entered, once');
  expect(stdout).toContain('"level_ml":120.50');
  expect(stdout).toContain('no result   tidaling');
  expect(stdout).not.toContain('Canary');
  expect(check(message({}, levelObx('99', 'C'))).stdout).toContain('changes what was told before');
  expect(check(message({}, obx('NM', '8867-4^^LN', '80'))).stdout).toContain('It says nothing of a drain');
});

test('says all that is wrong, and ends with 1', () => {
  const { status, stdout } = check(message({}, levelObx('1,5'), obx('NM', '1^x^MDC', '1')));
  expect(status).toBe(1);
  expect(stdout).toMatch(
    /^OBX\[1\]-5 "1,5" is no plain number: .+\nOBX\[2\]-3 .+ is no code of the mapping: /,
  );
  expect(check('hello').stdout).toContain('MSH[1]-2');
  expect(check(message({}, levelObx('1')).replace('|P|2.6', '|T|2.6')).stdout).toContain('MSH[1]-11.1 "T"');
});

test('names a mapping that cannot be used, or is missing', () => {
  const bad = join(folder, 'bad.json');
  writeFileSync(bad, JSON.stringify({ ...MAPPING, drain: { field: 'PID-3', system: 'x' } }));
  expect(check(message({}, levelObx('1')), '--mapping', bad)).toMatchObject({
    status: 64,
    stderr: expect.stringContaining('is no field of PV1, ORC, OBR, OBX or PRT'),
  });
  expect(check(message({}, levelObx('1')), '--mapping=').status).toBe(64);
});
