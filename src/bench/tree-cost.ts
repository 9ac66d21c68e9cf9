/** What the tree over all entries costs ingest: processor time an entry with it and without, turn about. */
import { join } from 'node:path';
import { createRecord, type Record } from '../record/record.ts';
import type { Tree } from '../store/sqlite/tree.ts';
import { incoming, placeDrain } from './cost-per-entry.ts';
import { median, processorTimeFromNow } from './measure.ts';
import { reading } from './messages.ts';
import { openBenchStore } from './store.ts';

const DRAINS = 50;
const ROUNDS = 60;
/** The first rounds run cold code. */
const COLD = 10;

const NO_TREE: Tree = {
  grow() {},
  forget() {},
  size: () => 0,
  head() {
    throw new Error('there is no tree');
  },
};

export interface TreeCost {
  readonly 'at once': number;
  readonly 'with µs': number;
  readonly 'without µs': number;
  /** Ingest with the tree as a share of ingest without it. */
  readonly ratio: number;
}

export async function treeCost(folder: string): Promise<readonly TreeCost[]> {
  return [await cost(folder, 1), await cost(folder, DRAINS)];
}

/** @param atOnce how many entries wait for one commit */
async function cost(folder: string, atOnce: number): Promise<TreeCost> {
  const on = openBenchStore(join(folder, `tree-${atOnce}.db`), createRecord);
  const off = openBenchStore(join(folder, `no-tree-${atOnce}.db`), createRecord, () => NO_TREE);
  const drains: string[] = [];
  for (let n = 0; n < DRAINS; n += 1) {
    await placeDrain(on.record, 'tree', n);
    drains.push(await placeDrain(off.record, 'tree', n));
  }
  const [withTree, without]: [number[], number[]] = [[], []];
  for (let round = 1; round <= ROUNDS; round += 1) {
    const entries = drains.map((drain, n) => incoming(drain, reading('tree', n, drain, round)));
    // Both in every round, so that a neighbour on the machine disturbs both alike.
    withTree.push(await cpuPerEntry(on.record, entries, atOnce));
    without.push(await cpuPerEntry(off.record, entries, atOnce));
  }
  await on.store.close();
  await off.store.close();
  const [dear, cheap] = [median(withTree.slice(COLD)), median(without.slice(COLD))];
  return {
    'at once': atOnce,
    'with µs': Math.round(dear),
    'without µs': Math.round(cheap),
    ratio: Number((cheap / dear).toFixed(2)),
  };
}

/** µs of processor time. */
async function cpuPerEntry(
  record: Record,
  entries: readonly Parameters<Record>[0][number][],
  atOnce: number,
): Promise<number> {
  const costUs = processorTimeFromNow();
  for (let n = 0; n < entries.length; n += atOnce)
    await Promise.all(entries.slice(n, n + atOnce).map((entry) => record([entry])));
  return costUs() / entries.length;
}
