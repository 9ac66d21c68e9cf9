/** Which words entries say in which of their resources, by one number for all that say it so. */
import type Database from 'better-sqlite3';
import type { WordKind } from '../fhir/search/word.ts';
import type { Names } from './dictionaries.ts';

/** What has been said so far; the way back spells it. Finding a pattern costs no writing of it (see json/frame.ts). */
export interface Said {
  readonly before: Said | null;
  readonly place: number;
  readonly kind: WordKind | null;
  readonly next: Map<WordKind, Said>[];
  /** Where the last entry that came here went on: the next one mostly does as well. */
  latest: Said | null;
  pattern: number | null;
}

export interface Patterns {
  /** Where nothing has been said. */
  start(): Said;
  /** After a word at a place more. */
  said(before: Said, place: number, kind: WordKind): Said;
  /** The number of all that has been said, new or known. */
  number(said: Said): number;
}

/** Beyond so many all are looked up again: senders' own keys may have a part of their own before a dot. */
const MOST_SAID = 200_000;

export function createPatterns(db: Database.Database, names: Names): Patterns {
  const numberOf = createPatternTable(db);
  let start = after(null, 0, null);
  let kept = 0;

  function goneOn(before: Said, place: number, kind: WordKind): Said {
    const ofPlace = before.next[place] ?? new Map<WordKind, Said>();
    before.next[place] = ofPlace;
    let next = ofPlace.get(kind);
    if (next === undefined) {
      next = after(before, place, kind);
      ofPlace.set(kind, next);
      kept += 1;
    }
    before.latest = next;
    return next;
  }

  return {
    start() {
      if (kept > MOST_SAID) {
        start = after(null, 0, null);
        kept = 0;
      }
      return start;
    },
    said(before, place, kind) {
      const { latest } = before;
      return latest !== null && latest.kind === kind && latest.place === place
        ? latest
        : goneOn(before, place, kind);
    },
    number(said) {
      said.pattern ??= numberOf(spelled(said, names));
      return said.pattern;
    },
  };
}

const after = (before: Said | null, place: number, kind: WordKind | null): Said => ({
  before,
  place,
  kind,
  next: [],
  latest: null,
  pattern: null,
});

type Place = readonly [place: number, parameter: number, system: number, head: string];

function spelled(said: Said, names: Names): readonly Place[] {
  const places: Place[] = [];
  for (let each: Said | null = said; each?.kind != null; each = each.before) {
    const { parameter, system, head } = each.kind;
    const scope = system === null || system === '' ? 0 : names.put(system);
    places.push([each.place, names.put(parameter), scope, head]);
  }
  return places.reverse();
}

function createPatternTable(db: Database.Database): (places: readonly Place[]) => number {
  const find = db.prepare<[string], number>('SELECT pattern FROM pattern WHERE text = ?').pluck();
  const insert = db.prepare('INSERT INTO pattern (text) VALUES (?)');
  const insertPlace = db.prepare(
    // A resource may say the same twice.
    'INSERT OR IGNORE INTO place (pattern, place, parameter, system, head) VALUES (?, ?, ?, ?, ?)',
  );
  return (places) => {
    const text = JSON.stringify(places);
    const known = find.get(text);
    if (known !== undefined) return known;
    const pattern = Number(insert.run(text).lastInsertRowid);
    for (const place of places) insertPlace.run(pattern, ...place);
    return pattern;
  };
}
