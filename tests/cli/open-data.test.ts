/** The replay of charted outputs, on a few rows made for the purpose: not data of anybody. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { checkOpenData } from '../../src/cli/open-data/check.ts';
import { expectedBySql } from '../../src/cli/open-data/expected.ts';
import { readChartedOutputs } from '../../src/cli/open-data/read-file.ts';

const folder = mkdtempSync(join(tmpdir(), 'open-data-test-'));
afterAll(() => rmSync(folder, { recursive: true }));

const HEAD = 'subject_id,icustay_id,itemid,label,charttime,storetime,value,valueuom,newbottle,iserror';
const row = (charted: string, stored: string, value: string, more = ',mL,,') =>
  `1,1,1,Tube,2120-01-01 ${charted}:00,2120-01-01 ${stored}:00,${value}${more}`;

function file(name: string, ...rows: readonly string[]): string {
  const path = join(folder, name);
  writeFileSync(path, [HEAD, ...rows].join('\n'));
  return path;
}

const STORY = [
  row('08:00', '08:05', '300'),
  row('09:00', '12:30', '400'),
  row('10:00', '10:05', ''),
  row('11:00', '11:05', '250.5'),
  row('11:30', '11:31', '90', ',mL,,1'),
  row('12:00', '12:05', '0'),
];

describe('the check against a file of charted outputs', () => {
  it('agrees with SQL over late rows, a row without value, an error and a unit that overflows', async () => {
    const lines: string[] = [];
    expect(await checkOpenData(file('story.csv', ...STORY), (line) => lines.push(line))).toBe(0);
    expect(lines).toContain('1 without a value: not charted, so their time is in the interval that follows.');
    expect(lines).toContain('1 marked as errors: entered and then entered in error.');
    expect(lines).toContain('interval: 4 compared');
    expect(lines.at(-1)).toBe('All agree with plain SQL.');
  });

  it('fails on a file that has nothing to compare', async () => {
    expect(await checkOpenData(file('empty.csv', row('08:00', '08:05', '')), () => undefined)).toBe(1);
  });

  it('refuses a row that it cannot read, and says which', () => {
    const bad = file('bad.csv', row('08:00', '08:05', '12'), row('09:00', '09:05', 'much'));
    expect(() => readChartedOutputs(bad, Date.now())).toThrow(/bad\.csv, row 3: [\s\S]*value/);
  });

  it('moves future dates into the past by whole weeks, and keeps order and distance', () => {
    const rows = readChartedOutputs(file('story.csv', ...STORY), Date.UTC(2026, 0, 1));
    const shift = Date.UTC(2120, 0, 1, 8) - (rows[0]?.chartedMs ?? 0);
    expect(shift % (7 * 24 * 3_600_000)).toBe(0);
    expect(Math.max(...rows.map(({ storedMs }) => storedMs))).toBeLessThanOrEqual(Date.UTC(2026, 0, 1));
    expect((rows[1]?.chartedMs ?? 0) - (rows[0]?.chartedMs ?? 0)).toBe(3_600_000);
  });
});

describe('the sums by SQL, worked by hand', () => {
  const rows = readChartedOutputs(file('story.csv', ...STORY), Date.UTC(2026, 0, 1));
  const expected = expectedBySql(rows);
  const series = rows[0]?.series ?? '';
  const at = (hours: number) => (rows[0]?.chartedMs ?? 0) + hours * 3_600_000;

  it('leaves out errors and empty rows, and adds up', () => {
    expect(expected.outputs(series).map(({ ml, sum }) => [ml, sum])).toEqual([
      [300, 300],
      [400, 700],
      [250.5, 950.5],
      [0, 950.5],
    ]);
  });

  it('spreads a row evenly, unless it is longer than the limit', () => {
    // Half of 400 in the half hour to 09:00, and a quarter of 250.5 in the half hour after.
    expect(expected.between(series, at(0.5), at(1.5), 2 * 3_600_000)).toBe(262.625);
    expect(expected.between(series, at(0.5), at(1.5), 3_600_000)).toBe(200);
    expect(expected.between(series, at(1), at(3), 0)).toBe(250.5);
  });
});
