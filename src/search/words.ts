/**
 * Identifiers, references and ids of resources, as rows of the index. What one entry issues hangs on the same drain and
 * entry, and its resources name each other by texts that differ before their first dot only: those are one row, and what
 * differs is a pattern that entries of one kind share.
 */
import type Database from 'better-sqlite3';
import type { Extract } from '../fhir/search/extract.ts';
import { split } from '../fhir/search/word.ts';
import type { Names } from './dictionaries.ts';
import { among, both, either, type Fragment, fragment } from './fragments.ts';
import { createPatterns, type Said } from './patterns.ts';

/** Rows of one issue are told apart within so many: a row of words speaks of few, however many one issue has. */
const PLACES = 64;

/** The text of `w`, a row of words, at `p`, one of its places. */
const WHOLE = 'p.head || w.value';

/** One of these texts. */
export function anyOf(texts: readonly string[]): Fragment {
  const stems = [...new Set(texts.map((text) => split(text)[1]))];
  return both([among('w.value', stems), among(WHOLE, texts)]);
}

/** Texts sort by their code points: those that begin so lie between the beginning and the end of all that follow it. */
export const beginningWith = (text: string): Fragment =>
  fragment('w.value >= ? AND w.value < ?', text, `${text}\u{10ffff}`);

const WORDS_OF_PARAMETER = 'word w CROSS JOIN place p ON p.pattern = w.pattern AND p.parameter = ?';

/** Rows that have a word of a parameter. @param which what is asked of it */
export const rowsWith = (parameter: number, which: Fragment): Fragment =>
  fragment(
    `SELECT w.row + p.place AS row FROM ${WORDS_OF_PARAMETER} WHERE ${which.sql}`,
    parameter,
    ...which.values,
  );

/** Rows that have a word of a parameter, asked by its number and the stem alone: words of other heads are among them. */
export const ROWS_OF_STEM = `SELECT w.row + p.place FROM ${WORDS_OF_PARAMETER} WHERE w.value = ?`;

/** Whether the row `v` has one. */
export const hasWord = (parameter: number, which: Fragment): Fragment =>
  fragment(
    `EXISTS (SELECT 1 FROM ${WORDS_OF_PARAMETER}
       WHERE ${which.sql} AND w.row = v.row - v.position % ${PLACES} AND p.place = v.position % ${PLACES})`,
    parameter,
    ...which.values,
  );

/** Rows of resources of these drains, and of those that rest on one: their ids, or references to them, go on after the first dot with its name. */
export function rowsNaming(drains: readonly string[]): Fragment {
  const { sql, values } = either(
    drains.map((drain) => fragment('w.value >= ? AND w.value < ?', `${drain}.`, `${drain}/`)),
  );
  return fragment(
    `SELECT w.row + p.place FROM word w CROSS JOIN place p ON p.pattern = w.pattern WHERE ${sql}`,
    ...values,
  );
}

export interface WordWriter {
  /** @param first row of the first of resources that follow it without a gap; each has its place among them as position */
  put(first: number, resources: readonly (Extract | undefined)[]): void;
}

export function createWordWriter(db: Database.Database, names: Names): WordWriter {
  const patterns = createPatterns(db, names);
  const insert = db.prepare('INSERT INTO word (value, row, pattern) VALUES (?, ?, ?)');

  /** Up to {@link PLACES} resources, the first in the row `first`. */
  function putSome(first: number, resources: readonly (Extract | undefined)[]): void {
    const saidOf = new Map<string, Said>();
    resources.forEach((resource, place) => {
      if (resource === undefined) return;
      for (const { kind, stem } of resource.words)
        saidOf.set(stem, patterns.said(saidOf.get(stem) ?? patterns.start(), place, kind));
    });
    for (const [stem, said] of saidOf) insert.run(stem, first, patterns.number(said));
  }

  return {
    put(first, resources) {
      for (let from = 0; from < resources.length; from += PLACES)
        putSome(first + from, resources.slice(from, from + PLACES));
    },
  };
}
