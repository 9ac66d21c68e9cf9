/** Parameters of a history: `_count`, `_since`, `_at`, none more than once (FHIR R4 http.html#history). */
import { type MomentOf, type Range, readRange, repairOffset } from './date-range.ts';
import type { Pair } from './query.ts';
import { readCount } from './read-query.ts';
import { notSupported, refused } from './refused.ts';

export interface HistoryWindow {
  readonly count: number;
  /** Epoch ms. */
  readonly since: number | null;
  /** Versions that were current at some time of it. */
  readonly at: Range | null;
}

export const HISTORY_PARAMETERS = {
  _count: 'Most versions on a page: 100 unless given, 1 to 1000.',
  _since: 'Only versions issued at this instant or later.',
  _at: 'Only versions that were current at some time of this date or time.',
} as const satisfies Readonly<Record<string, string>>;

/** @throws {Refused} */
export function readHistoryWindow(pairs: readonly Pair[], zone: MomentOf): HistoryWindow {
  const given = new Map<string, string>();
  for (const [name, value] of pairs) {
    if (!Object.hasOwn(HISTORY_PARAMETERS, name)) {
      const mend = `leave it out; known are ${Object.keys(HISTORY_PARAMETERS).join(', ')}`;
      throw notSupported(name.slice(0, 60), 'is no parameter of a history', mend);
    }
    if (given.has(name)) throw refused(name, value, 'stands more than once', 'send it once');
    given.set(name, value);
  }
  const count = readCount(given.get('_count'));
  if (count === 0) throw refused('_count', '0', 'is no page', 'send 1 to 1000');
  const [since, at] = [given.get('_since'), given.get('_at')];
  return {
    count,
    since: since === undefined ? null : readTime('_since', since, zone).lo,
    at: at === undefined ? null : readTime('_at', at, zone),
  };
}

function readTime(name: string, text: string, zone: MomentOf): Range {
  const range = readRange(repairOffset(text), zone);
  if (range === undefined)
    throw refused(name, text, 'is no time', 'send one such as 2025-03-01T08:00:00Z, with + written as %2B');
  return range;
}
