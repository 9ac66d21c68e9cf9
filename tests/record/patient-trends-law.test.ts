/** Trends over all drains of a patient are the same from what is kept of their sums as from their whole charts. */
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import type { Book } from '../../src/domain/book/book.ts';
import { type Reach, sumsOf, WEEKS } from '../../src/domain/book/drain-sums.ts';
import { readSums, writeSums } from '../../src/domain/book/sums-text.ts';
import { HOUR_MS } from '../../src/domain/numbers/units.ts';
import { DEFAULT_SETTINGS } from '../../src/domain/vocabulary/settings.ts';
import {
  type AskedTrends,
  patientTrendsOf,
  sourceOf,
  type TrendSource,
} from '../../src/record/trends/trends.ts';
import { tell } from '../support/drain-script.ts';
import { arrivalOf, ledger } from '../support/ledgers.ts';
import { UTC_CALENDAR } from '../support/policy.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

const SUMS = ['net', 'rate', 'rate_per_kg'] as const;
const asked = (more: Partial<AskedTrends>): AskedTrends => ({
  ...{ series: SUMS, bucket: 'hour', from: null, to: null, last_h: 24 },
  ...more,
});
/** Of little time, so that some buckets begin before it. */
const TWO_HOURS: Reach = { ms: 2 * HOUR_MS, most: 300 };

function keptOf(book: Book, noBook: boolean): TrendSource {
  const read = (reach: Reach) => readSums(book.drain, writeSums(sumsOf(book), reach), DEFAULT_SETTINGS);
  return {
    sums: read(TWO_HOURS),
    weeks: () => read(WEEKS),
    book() {
      if (noBook) throw new Error('sums of weeks are kept');
      return book;
    },
  };
}

describe('trends of a patient', () => {
  it.each([
    ['by hour', asked({}), true],
    ['a week by day', asked({ bucket: 'day', last_h: 168 }), true],
    ['since placement, and of what is read at moments', asked({ series: ['cumulative', 'seal'] }), false],
  ])('%s are those of the whole charts, whatever was charted', (_, query, noBook) => {
    let several = 0;
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        const books = [...tell(story).subject.values()];
        for (const book of books) {
          const trends = (source: (of: Book) => TrendSource) => {
            const found = patientTrendsOf(books.map(source), sumsOf(book), UTC_CALENDAR, query);
            if ('tooMany' in found) throw new Error('these are few');
            return { ...found, drains: found.drains.map(({ sums, series }) => [sums.drain, series]) };
          };
          const whole = trends(sourceOf);
          expect(trends((of) => keptOf(of, noBook))).toEqual(whole);
          if (whole.drains.length > 1) several += 1;
        }
      }),
      { numRuns: 50 },
    );
    expect(several).toBeGreaterThan(20);
  });
});
