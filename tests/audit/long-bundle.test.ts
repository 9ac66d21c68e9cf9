/** The verifier in Python takes a long period in as much more time as it is longer; processor time, so that a busy machine is no fault. */
import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';

const SCRIPT = fileURLToPath(new URL('verify_long.py', import.meta.url));
const hasPython = spawnSync('python3', ['--version']).status === 0;
// With a list of the period made anew for each entry it took 10 times as long.
const MOST_FOR_FOUR_TIMES = 6.5;

test.skipIf(!hasPython)('four times the entries take some four times as long', { timeout: 60_000 }, () => {
  const { stdout, stderr } = spawnSync('python3', [SCRIPT, '4096', '16384'], { encoding: 'utf8' });
  expect(stderr).toBe('');
  const [short, long] = stdout
    .trim()
    .split('\n')
    .map((line) => JSON.parse(line) as { code: number; said: string; seconds: number });
  // No key was given: all entries were gone through, and what signs them is not known.
  for (const each of [short, long])
    expect(each).toMatchObject({ code: 3, said: 'key unknown: the checkpoint' });
  expect((long?.seconds ?? Infinity) / (short?.seconds ?? 0)).toBeLessThan(MOST_FOR_FOUR_TIMES);
});
