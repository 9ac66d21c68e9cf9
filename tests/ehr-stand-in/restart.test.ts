import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { appendFileSync, existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { createEhrStandIn } from '../../src/ehr-stand-in/server.ts';
import { observationText, readFrom, sendTo, startStandIn } from './client.ts';

const program = 'dist/ehr-stand-in/main.js';
let directory: string;
let logFile: string;
const started: ChildProcess[] = [];

beforeEach(() => {
  directory = mkdtempSync(join(tmpdir(), 'ehr-stand-in-'));
  logFile = join(directory, 'received.ndjson');
});
afterEach(() => {
  // Ends what a failed test left running; a process that has ended already is not touched.
  for (const child of started.splice(0)) child.kill('SIGKILL');
  rmSync(directory, { recursive: true });
});

test('a restart keeps every version, its text, its time and the conditions that rest on them', async () => {
  const before = await startStandIn(logFile);
  const meta = '"meta":{"versionId":"7"}, ';
  await sendTo('PUT', `${before.fhir}/Observation/one`, observationText('one', '1.0'));
  await sendTo('PUT', `${before.fhir}/Observation/one`, observationText('one', '1.00', meta));
  const first = await readFrom(`${before.fhir}/Observation/one/_history/1`);
  await before.app.close();

  const after = await startStandIn(logFile);
  const loaded = await readFrom(`${after.fhir}/Observation/one/_history/1`);
  expect(loaded.text).toBe(observationText('one', '1.0'));
  expect(loaded.headers.get('last-modified')).toBe(first.headers.get('last-modified'));
  const older = observationText('one', '1.0', '"meta":{"versionId":"6"}, ');
  expect((await sendTo('PUT', `${after.fhir}/Observation/one`, older)).status).toBe(409);
  const next = await sendTo('PUT', `${after.fhir}/Observation/one`, observationText('one', '2'), {
    'if-match': 'W/"2"',
  });
  expect([next.status, next.headers.get('etag')]).toEqual([200, 'W/"3"']);
  await after.app.close();
});

test('a transaction is one line, and neither a refusal nor a resend is any', async () => {
  const { app, fhir } = await startStandIn(logFile);
  const entries = ['one', 'two'].map(
    (id) => `{"resource":${observationText(id)},"request":{"method":"PUT","url":"Observation/${id}"}}`,
  );
  const bundle = `{"resourceType":"Bundle","type":"transaction","entry":[${entries}]}`;
  await sendTo('POST', fhir, bundle);
  await sendTo('POST', fhir, bundle);
  await sendTo('POST', fhir, bundle.replace('"id":"two"', '"id":"three"'));
  expect(readFileSync(logFile, 'utf8').split('\n')).toHaveLength(2);
  await app.close();
});

test('a line that was cut off is dropped, and the log goes on after it', async () => {
  const before = await startStandIn(logFile);
  await sendTo('PUT', `${before.fhir}/Observation/one`, observationText('one'));
  await before.app.close();
  appendFileSync(logFile, '[{"type":"Observation","id":"torn","ver');

  const between = await startStandIn(logFile);
  await sendTo('PUT', `${between.fhir}/Observation/two`, observationText('two'));
  await between.app.close();

  const after = await startStandIn(logFile);
  const { versions } = JSON.parse((await readFrom(`${after.origin}/_received`)).text);
  expect(versions).toEqual({ 'Observation/one': 1, 'Observation/two': 1 });
  await after.app.close();
});

test('what cannot be logged is not kept, and a log that cannot be opened stops the start', async () => {
  const { app, fhir } = await startStandIn(logFile);
  rmSync(directory, { recursive: true });
  const refused = await sendTo('PUT', `${fhir}/Observation/one`, observationText('one'));
  expect([refused.status, JSON.parse(refused.text).issue[0].code]).toEqual([500, 'exception']);
  expect((await readFrom(`${fhir}/Observation/one`)).status).toBe(404);
  await app.close();
  expect(() => createEhrStandIn({ logFile })).toThrow(logFile);
  directory = mkdtempSync(join(tmpdir(), 'ehr-stand-in-'));
});

async function startProgram() {
  expect(existsSync(program), `${program} is missing; run "npm run build" first`).toBe(true);
  const child = spawn(process.execPath, [program, '--port', '0', '--log-file', logFile]);
  started.push(child);
  const lines: string[] = [];
  const output = createInterface({ input: child.stdout });
  output.on('line', (line) => lines.push(line));
  await once(output, 'line');
  const { listening }: { listening: string } = JSON.parse(lines[0] ?? '');
  return { child, lines, listening };
}

test('the program says where it listens, ends on SIGTERM and finds its log again, even after a kill', async () => {
  const first = await startProgram();
  expect(first.listening).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/fhir$/);
  await sendTo('PUT', `${first.listening}/Observation/one`, observationText('one'));
  first.child.kill('SIGKILL');
  await once(first.child, 'exit');

  const second = await startProgram();
  expect((await readFrom(`${second.listening}/Observation/one`)).text).toBe(observationText('one'));
  second.child.kill('SIGTERM');
  expect(await once(second.child, 'exit')).toEqual([0, null]);
  expect(second.lines).toHaveLength(1);
});
