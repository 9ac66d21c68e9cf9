/** The rule file of a facility, and the commands that show what it would do. */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { readRules } from '../../src/configuration/rules.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';

const MAIN = fileURLToPath(new URL('../../dist/cli/main.js', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'rules-cli-'));
const file = join(folder, 'rules.json');

beforeAll(() => {
  if (!existsSync(MAIN)) throw new Error(`${MAIN} is missing: npm run build`);
});
afterAll(() => rmSync(folder, { recursive: true }));

const LOCAL = {
  id: 'local-100',
  title: 'More than 100 mL/h, local policy',
  populations: ['adult'],
  indications: null,
  sites: ['pleural-left'],
  fluids: null,
  basis: 'one-tube',
  quantity: 'rate',
  unit: 'mL/h',
  consecutive_h: 1,
  operator: '>',
  threshold: 100,
  clock: { origin: 'none', from_h: 0, to_h: null },
  source: 'local policy 1',
  on: true,
};

const write = (content: object | string) =>
  writeFileSync(file, typeof content === 'string' ? content : JSON.stringify(content));

/** All that is wrong, without the name of the file. */
function faultsOf(content: object | string): string[] {
  write(content);
  try {
    readRules(file);
    return [];
  } catch (error) {
    return String((error as Error).message)
      .replaceAll(`${file}: `, '')
      .split('\n');
  }
}

describe('a rule file', () => {
  test('switches rows, changes numbers, adds local rows; the rest stands as it ships', () => {
    write({
      version: 'ward-1',
      reading_every_h: { paediatric: 2 },
      changes: [
        { id: 'udpb-mild', on: true },
        { id: 'atls-ongoing', consecutive_h: 3, threshold: 200 },
        { id: 'east-24h', on: false, max_gap_h: 4 },
      ],
      local: [LOCAL],
    });
    const { version, rules, reading_every_h } = readRules(file);
    const row = (id: string) => rules.find((each) => each.id === id);
    expect(version).toBe('ward-1');
    expect(reading_every_h).toEqual({ adult: 4, paediatric: 2 });
    expect(row('udpb-mild')).toMatchObject({ on: true, evidence: 'from memory', changed: ['switched on'] });
    expect(row('atls-ongoing')).toMatchObject({
      consecutive_h: 3,
      changed: ['consecutive_h is 3, not 2 as published'],
    });
    expect(row('east-24h')).toMatchObject({
      on: false,
      max_gap_h: 4,
      changed: ['max_gap_h is 4, not 2 as published', 'switched off'],
    });
    expect(row('local-100')).toMatchObject({ evidence: 'local', max_gap_h: 2, changed: [] });
    expect(row('local-100')?.threshold.text).toBe('100');
    const touched = ['udpb-mild', 'atls-ongoing', 'east-24h', 'local-100'];
    expect(rules.filter(({ id }) => !touched.includes(id))).toEqual(
      DEFAULT_TABLE.rules.filter(({ id }) => !touched.includes(id)),
    );
  });

  test.each([
    ['an unknown field', { version: '1', rulez: [] }, 'the file Unrecognized key: "rulez"'],
    ['no version', {}, '/version Invalid input: expected string, received undefined'],
    [
      'an unknown row',
      { version: '1', changes: [{ id: 'nope' }] },
      "/changes/0/id 'nope' names no row that ships: add it under local",
    ],
    [
      'another field of a row that ships',
      { version: '1', changes: [{ id: 'east-24h', source: 'me' }] },
      '/changes/0 Unrecognized key: "source"',
    ],
    [
      'a number that the row has not',
      { version: '1', changes: [{ id: 'east-24h', consecutive_h: 2 }] },
      "/changes/0/consecutive_h is no number of 'east-24h', whose quantity is volume",
    ],
    [
      'a row changed twice',
      { version: '1', changes: [{ id: 'east-24h' }, { id: 'east-24h' }] },
      "/changes/1/id 'east-24h' is changed twice",
    ],
    [
      'the id of a row that ships',
      { version: '1', local: [{ ...LOCAL, id: 'east-24h' }] },
      "/local/0/id 'east-24h' is the id of a row that ships",
    ],
    ['an id used twice', { version: '1', local: [LOCAL, LOCAL] }, "/local/1/id 'local-100' is used twice"],
    [
      'a unit that does not fit',
      { version: '1', local: [{ ...LOCAL, unit: 'mL' }] },
      '/local/0/unit Invalid option: expected one of "mL/h"|"mL/kg/h"',
    ],
    [
      'an evidence tag',
      { version: '1', local: [{ ...LOCAL, evidence: 'local' }] },
      '/local/0 Unrecognized key: "evidence"',
    ],
    [
      'half an hour in a row of hours',
      { version: '1', local: [{ ...LOCAL, consecutive_h: 1.5 }] },
      '/local/0/consecutive_h must be whole hours',
    ],
    [
      'a stretch without origin',
      { version: '1', local: [{ ...LOCAL, clock: { origin: 'none', from_h: 0, to_h: 6 } }] },
      '/local/0/clock without origin has no hours: send from_h 0 and to_h null, or name an origin',
    ],
    [
      'a number in quotes',
      { version: '1', local: [{ ...LOCAL, threshold: '100' }] },
      '/local/0/threshold is not a number with at most 3 decimals',
    ],
    [
      'four decimals',
      '{"version":"1","changes":[{"id":"east-24h","threshold":1.2345}]}',
      '/changes/0/threshold is not a number with at most 3 decimals',
    ],
    [
      'a fill of more than the chamber',
      { version: '1', changes: [{ id: 'three-quarters-full', threshold: 75 }] },
      '/changes/0/threshold must be at most 1',
    ],
  ])('with %s is refused', (_name, content, fault) => {
    expect(faultsOf(content)).toEqual([fault]);
  });

  test('tells all that is wrong at once', () => {
    expect(
      faultsOf({
        extra: 1,
        changes: [{ id: 'nope' }, { id: 'east-24h', window_h: -1 }],
        local: [{ ...LOCAL, unit: 'cm[H2O]', operator: '<' }],
      }),
    ).toHaveLength(6);
  });

  test('that is no JSON, or is not there, is named', () => {
    expect(faultsOf('{')).toHaveLength(1);
    rmSync(file);
    expect(() => readRules(file)).toThrow(/rules\.json: ENOENT/);
  });
});

const run = (...args: readonly string[]) =>
  spawnSync(process.execPath, [MAIN, 'rules', ...args], { encoding: 'utf8' });

describe('commands', () => {
  test('check shows what would hold, and what was changed', () => {
    write({ version: 'ward-1', changes: [{ id: 'east-24h', threshold: 1000 }], local: [LOCAL] });
    const { status, stdout } = run('check', file);
    expect(status).toBe(0);
    expect(stdout).toMatch(/^Version ward-1 would hold: \d+ rows on, \d+ off, 1 changed, 1 local\.\n/);
    expect(stdout).toContain('changed here: threshold is 1000, not 1500 as published');
    expect(stdout).toContain('on   local-100');
  });

  test('check of a bad file shows all faults and ends with 1', () => {
    write({ version: '1', changes: [{ id: 'nope' }], local: [{ ...LOCAL, unit: 'mL' }] });
    const { status, stdout, stderr } = run('check', file);
    expect(status).toBe(1);
    expect(stdout).toBe('');
    expect(stderr.trim().split('\n')).toHaveLength(2);
  });

  test('list shows every row with its source and evidence', () => {
    const { status, stdout } = run('list');
    expect(status).toBe(0);
    for (const { id, source, evidence } of DEFAULT_TABLE.rules) {
      expect(stdout).toContain(`  ${id}  `);
      expect(stdout).toContain(`${source} [${evidence}]`);
    }
    expect(stdout).toMatch(/^off {2}kirklin-first-1h/m);
  });

  test('anything else is a usage error', () => {
    expect(run().status).toBe(64);
    expect(run('check').status).toBe(64);
    expect(run('lists').stderr).toContain('no such command: rules lists');
  });
});
