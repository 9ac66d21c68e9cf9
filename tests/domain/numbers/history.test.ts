import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { append, type History, newestWhere } from '../../../src/domain/numbers/history.ts';

const historyOf = (items: readonly number[]) =>
  items.reduce<History<number>>((history, item) => append(history, item), null);

describe('a history', () => {
  it('finds the newest item that is old enough, as a search of the whole list does', () => {
    const sorted = fc.array(fc.integer({ min: 0, max: 100 })).map((items) => items.sort((a, b) => a - b));
    fc.assert(
      fc.property(sorted, fc.integer({ min: -1, max: 101 }), (items, limit) => {
        const node = newestWhere(historyOf(items), (item) => item <= limit);
        const expected = items.filter((item) => item <= limit);
        expect(node?.length ?? 0).toBe(expected.length);
        expect(node?.item).toBe(expected.at(-1));
      }),
      { numRuns: 300 },
    );
  });

  it('looks at few of its items: at most 3 log2 n + 3 (Myers 1983, from memory)', () => {
    const size = 1 << 14;
    const history = historyOf([...Array(size).keys()]);
    const looks = [0, 1, 5000, size / 2 - 1, size - 2].map((limit) => {
      let count = 0;
      newestWhere(history, (item) => {
        count += 1;
        return item <= limit;
      });
      return count;
    });
    // Each step asks of a node and of its jump.
    for (const count of looks) expect(count).toBeLessThanOrEqual(2 * (3 * 14 + 3));
  });

  it('shares its past: growing it again leaves the older one as it was', () => {
    const past = historyOf([1, 2, 3]);
    const one = append(past, 4);
    const other = append(past, 5);
    expect([one.before, other.before]).toEqual([past, past]);
    expect([past?.item, one.item, other.item]).toEqual([3, 4, 5]);
  });
});
