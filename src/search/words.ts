/**
 * Identifiers, references and ids of resources, as rows of the index. What one entry issues hangs on the same drain and
 * entry, and its resources name each other by texts that differ before their first dot only: those are one row.
 */
import type Database from 'better-sqlite3';
import type { Extract } from '../fhir/search/extract.ts';
import type { Names } from './dictionaries.ts';
import { type Fragment, fragment } from './fragments.ts';

/** Under this name ids are kept; no search parameter that is kept as words has it. */
export const ID = '_id';

/** Rows of one issue are told apart within so many: a row of words speaks of few, however many one issue has. */
const PLACES = 64;

/** A text at its first dot; null: there is none. */
export function split(text: string): readonly [head: string | null, stem: string] {
  const dot = text.indexOf('.');
  return dot === -1 ? [null, text] : [text.slice(0, dot), text.slice(dot + 1)];
}

/** The text of `w`, a row of words, at `p`, one of its places. */
const WHOLE = "coalesce(p.value ->> 0 || '.', '') || w.value";

/** One of these texts. */
export function anyOf(texts: readonly string[]): Fragment {
  const stems = [...new Set(texts.map((text) => split(text)[1]))];
  return fragment(
    `w.value IN (SELECT value FROM json_each(?)) AND ${WHOLE} IN (SELECT value FROM json_each(?))`,
    JSON.stringify(stems),
    JSON.stringify(texts),
  );
}

/** Texts sort by their code points: those that begin so lie between the beginning and the end of all that follow it. */
export const beginningWith = (text: string): Fragment =>
  fragment('w.value >= ? AND w.value < ?', text, `${text}\u{10ffff}`);

const ROWS_OF_PARAMETER =
  'SELECT w.row + (p.value ->> 1) AS row FROM word w CROSS JOIN json_each(w.places) p WHERE w.parameter = ?';

/** Rows that have a word of a parameter. @param which what is asked of it */
export const rowsWith = (parameter: number, which: Fragment): Fragment =>
  fragment(`${ROWS_OF_PARAMETER} AND ${which.sql}`, parameter, ...which.values);

/** Rows that have a word of a parameter, asked by its number and the stem alone: words of other heads are among them. */
export const ROWS_OF_STEM = `${ROWS_OF_PARAMETER} AND w.value = ?`;

/** Whether the row `v` has one. */
export const hasWord = (parameter: number, which: Fragment): Fragment =>
  fragment(
    `EXISTS (SELECT 1 FROM word w CROSS JOIN json_each(w.places) p
       WHERE w.parameter = ? AND ${which.sql} AND w.row = v.row - v.position % ${PLACES} AND p.value ->> 1 = v.position % ${PLACES})`,
    parameter,
    ...which.values,
  );

export interface WordWriter {
  /** @param first row of the first resource of an issue; the others follow it without a gap */
  put(first: number, resources: readonly (Extract | undefined)[]): void;
}

interface Row {
  readonly stem: string;
  readonly parameter: number;
  readonly system: number;
  readonly places: string[];
}

export function createWordWriter(db: Database.Database, names: Names): WordWriter {
  const insert = db.prepare(
    'INSERT INTO word (value, parameter, row, system, places) VALUES (?, ?, ?, ?, ?)',
  );

  /** Up to {@link PLACES} resources, the first in the row `first`. */
  function putSome(first: number, resources: readonly (Extract | undefined)[]): void {
    const rows = new Map<string, Row>();
    const add = (
      [head, stem]: readonly [string | null, string],
      parameter: number,
      system: number,
      place: number,
    ) => {
      const key = `${parameter} ${system} ${stem}`;
      const row = rows.get(key) ?? { stem, parameter, system, places: [] };
      rows.set(key, row);
      const text = `[${JSON.stringify(head)},${place}]`;
      if (row.places.at(-1) !== text) row.places.push(text);
    };
    resources.forEach((resource, place) => {
      if (resource === undefined) return;
      add(split(resource.id), names.put(ID), 0, place);
      for (const { parameter, byBeginning, system, value } of resource.words) {
        const scope = system === null || system === '' ? 0 : names.put(system);
        add(byBeginning ? [null, value] : split(value), names.put(parameter), scope, place);
      }
    });
    for (const { stem, parameter, system, places } of rows.values())
      insert.run(stem, parameter, first, system, `[${places.join(',')}]`);
  }

  return {
    put(first, resources) {
      for (let from = 0; from < resources.length; from += PLACES)
        putSome(first + from, resources.slice(from, from + PLACES));
    },
  };
}
