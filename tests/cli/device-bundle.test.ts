/** A ledger with a device that was on the wrong drain: verified whole, and in bundles that keep each patient's part apart. */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { writeVerifierKey } from '../../src/audit/checkpoint.ts';
import { writeBody } from '../../src/audit/entry-text.ts';
import { writeFirstKey } from '../../src/audit/notices.ts';
import type { DeviceBody } from '../../src/domain/devices/device.ts';
import type { EntryBody } from '../../src/domain/vocabulary/entry.ts';
import { createRecordAct } from '../../src/record/device-acts.ts';
import { nameOf } from '../../src/record/names.ts';
import { openLedger, SETTINGS } from '../store/ledger.ts';
import { dec, NURSE } from '../support/drain-script.ts';
import { key, LOG, PUBLIC, sign } from './tampered.ts';
import { verify } from './verified.ts';

const CLI = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'device-bundle-'));
const database = join(folder, 'ledger.db');
const id = (value: string) => ({ system: 'urn:example:bundle', value });
const at = (time: string) => `2026-03-01T${time}:00Z`;
const MONITOR = id('monitor');
const [WRONG, RIGHT] = [nameOf(id('wrong')), nameOf(id('right'))];

beforeAll(async () => {
  if (!existsSync(CLI)) throw new Error(`${CLI} is missing: npm run build`);
  const ledger = openLedger(database, { origin: LOG });
  const record = async (drain: string | null, body: EntryBody) => {
    const [outcome] = await ledger.record([{ drain, body, request: writeBody(body) }]);
    expect(outcome?.kind).toMatch(/^(recorded|unmatched)$/);
  };
  const act = createRecordAct(ledger.store, SETTINGS);
  const about = async (body: DeviceBody) =>
    expect((await act({ device: nameOf(MONITOR), body, request: JSON.stringify(body) })).kind).toBe(
      'recorded',
    );
  const common = (value: string) => ({ identifier: id(value), author: NURSE, effective_at: at('08:00') });
  const body = writeFirstKey(PUBLIC);
  await ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
  for (const name of ['wrong', 'right']) {
    const patient = { reference: `Patient/${name}` };
    await record(nameOf(id(name)), {
      kind: 'placed',
      site: 'mediastinal',
      tubes: ['A'],
      patient,
      ...common(name),
    });
  }
  await about({ kind: 'registered', device: MONITOR, type: 'monitor', ...common('registered') });
  const reading = (value: string, time: string): EntryBody => ({
    ...{ kind: 'reading', level_ml: dec(50), device: MONITOR, identifier: id(value) },
    ...{ author: { type: 'device', identifier: MONITOR }, effective_at: at(time) },
  });
  await record(null, reading('early', '08:30'));
  await record(null, reading('never', '07:00'));
  const told = { ...common('assigned'), reason: 'put there' };
  await about({ ...told, kind: 'assigned', drain: WRONG, from: at('09:00') });
  await record(null, reading('moved', '10:00'));
  await about({
    ...{ ...common('corrected'), kind: 'corrected', target: id('assigned'), reason: 'the wrong bed' },
    replacement: { drain: RIGHT, from: at('08:15') },
  });
  const elsewhere = { ...common('later'), reason: 'moved' };
  await about({
    ...common('closed'),
    kind: 'closed',
    target: id('assigned'),
    to: at('11:00'),
    reason: 'moved',
  });
  await about({ ...elsewhere, kind: 'assigned', drain: WRONG, from: at('11:00') });
  await ledger.store.checkpoint(sign(key));
  await ledger.close();
});
afterAll(() => rmSync(folder, { recursive: true }));

interface Entry {
  readonly stream: string;
  readonly body: string;
}

function bundleOf(drain: string): { readonly said: readonly string[]; readonly text: string } {
  const out = join(folder, drain);
  const env = { PATH: process.env.PATH, DRAINLEDGER_ORIGIN: LOG, DRAINLEDGER_DATABASE: database };
  const made = spawnSync(process.execPath, [CLI, 'audit-bundle', '--drain', drain, '--out', out], { env });
  expect(made.status, String(made.stderr)).toBe(0);
  const key = writeVerifierKey(LOG, PUBLIC);
  const checked = spawnSync(process.execPath, [join(out, 'verify.mjs'), out, '--key', key], {
    encoding: 'utf8',
  });
  expect(checked.status, checked.stdout).toBe(0);
  const text = readFileSync(join(out, 'entries.ndjson'), 'utf8');
  const entries = text
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as Entry);
  const said = entries.flatMap(({ stream, body }) =>
    stream === 'log'
      ? []
      : `${stream === drain ? 'drain' : stream.split('-')[0]} ${JSON.parse(body).identifier.value}`,
  );
  return { said, text: text + readFileSync(join(out, 'resources.ndjson'), 'utf8') };
}

test('the whole of it verifies', () => {
  expect(verify(database, []).finding).toBeNull();
});

test('the bundle of the drain that it was on holds what counts for it, and nothing of the other patient', () => {
  const { said, text } = bundleOf(RIGHT);
  expect(said.filter((each) => !each.startsWith('drain '))).toEqual([
    'device registered',
    'unmatched early',
    'device assigned',
    'device corrected',
    'device closed',
  ]);
  expect(said.filter((each) => each.startsWith('drain '))).toHaveLength(2);
  expect(text).toContain('Patient/right');
  expect(text).not.toContain('Patient/wrong');
});

test('that of the other drain holds what stood on it, and that it left', () => {
  const { said, text } = bundleOf(WRONG);
  expect(said).toEqual([
    'drain wrong',
    'device registered',
    'device assigned',
    'drain moved',
    'device corrected',
    expect.stringMatching(/^drain \w+\./),
    'device closed',
    'device later',
  ]);
  expect(text).not.toContain('Patient/right');
});
