/**
 * Where all open drains stand. A row is worked out once and kept until an entry that concerns its drain becomes
 * durable, so that asking often costs little and the books of quiet drains need not be folded again, after a start
 * neither.
 */
import { setImmediate } from 'node:timers/promises';
import type { Policy } from '../../domain/advisories/policy.ts';
import type { Store } from '../../store/port.ts';
import { type OverviewRow, overviewRowOf } from './overview-row.ts';

export interface Overview {
  /** Rows of open drains, in no order. */
  rows(): Promise<readonly OverviewRow[]>;
}

const NAMES_AT_ONCE = 1000;

export function createOverview(
  store: Pick<Store, 'books' | 'drains' | 'listen' | 'keptRow' | 'keepRow'>,
  { rules }: Policy,
): Overview {
  /** Null: not open. */
  const kept = new Map<string, OverviewRow | null>();
  let isListening = false;
  let filling: Promise<void> | null = null;

  function work(drain: string): void {
    const subject = store.books(drain);
    const book = subject.get(drain);
    const row = book === undefined ? null : overviewRowOf(book, subject, rules);
    kept.set(drain, row);
    store.keepRow(drain, JSON.stringify(row));
  }

  /** As it was worked out before this process began, where nothing has changed since. */
  function recall(drain: string): boolean {
    const text = store.keptRow(drain);
    if (text === null) return false;
    kept.set(drain, JSON.parse(text) as OverviewRow | null);
    return true;
  }

  /** A long chart takes its time: entries that wait come between one drain and the next. */
  async function fill(): Promise<void> {
    for (const name of namesOf(store)) {
      if (kept.has(name) || recall(name)) continue;
      work(name);
      await setImmediate();
    }
  }

  return {
    async rows() {
      if (!isListening) {
        store.listen((_entry, concerns) => {
          for (const drain of concerns) kept.delete(drain);
        });
        isListening = true;
      }
      // Those who ask while it is being filled share the work.
      filling ??= fill().finally(() => {
        filling = null;
      });
      await filling;
      // What entries have dropped meanwhile is worked out now, in one go, so that the answer is of one moment.
      for (const name of namesOf(store)) if (!kept.has(name)) work(name);
      return [...kept.values()].flatMap((row) => row ?? []);
    },
  };
}

function namesOf(store: Pick<Store, 'drains'>): readonly string[] {
  const names: string[] = [];
  for (;;) {
    const page = store.drains(names.at(-1) ?? '', NAMES_AT_ONCE);
    names.push(...page);
    if (page.length < NAMES_AT_ONCE) return names;
  }
}
