/** The heap of a process of its own, as the service sets it beside as Node does; by rows such as the charts of books are made of. */
import { spawnSync } from 'node:child_process';
import { expect, test } from 'vitest';

const HEAP = new URL('../dist/heap.js', import.meta.url).href;

const ROW = "const row = (n) => ({ n, text: 'x' + n, more: [n, n + 1, n + 2], at: { n } });";

/** @returns what the script prints as a number, run as it is and where the heap is kept small */
function figures(script: string): { readonly asNodeDoes: number; readonly small: number } {
  const run = (first: string): number => {
    const text = `import v8 from 'node:v8'; ${ROW} ${first} ${script}`;
    const flags = ['--max-old-space-size=4096', '--expose-gc', '--input-type=module'];
    const { stdout, stderr } = spawnSync(process.execPath, [...flags, '--eval', text], { encoding: 'utf8' });
    expect(stderr).toBe('');
    expect(Number(stdout)).toBeGreaterThan(0);
    return Number(stdout);
  };
  return { asNodeDoes: run(''), small: run(`(await import('${HEAP}')).keepHeapSmall();`) };
}

test('gives back the pages on which little lives', () => {
  const { asNodeDoes, small } = figures(`
    let rows = [];
    for (let n = 0; n < 800_000; n += 1) rows.push(row(n));
    rows = rows.filter(({ n }) => n % 16 === 0);
    for (let n = 0; n < 2; n += 1) {
      gc();
      await new Promise((resolve) => setTimeout(resolve, 50));
    }
    const old = v8.getHeapSpaceStatistics().find((space) => space.space_name === 'old_space');
    console.log(old.space_size);
    globalThis.rows = rows;`);
  expect(small).toBeLessThan(0.7 * asNodeDoes);
});

test('stays near what lives, however much memory the machine has', () => {
  const { asNodeDoes, small } = figures(`
    const living = new Array(500_000);
    let most = 0;
    for (let n = 0; n < 4_000_000; n += 1) {
      living[(n * 7919) % living.length] = row(n);
      if (n % 50_000 === 0) most = Math.max(most, v8.getHeapStatistics().total_heap_size);
    }
    console.log(most);`);
  expect(small).toBeLessThan(0.9 * asNodeDoes);
});
