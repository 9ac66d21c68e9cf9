/** Things that many resources share, each by a number: shapes, subjects, names of systems and parameters. */
import type Database from 'better-sqlite3';
import type { Shape, Subject } from '../fhir/search/extract.ts';

export interface KnownShape {
  readonly number: number;
  readonly shape: Shape;
  /** ms. */
  readonly longest: number;
}

export interface Shapes {
  all(): Iterable<KnownShape>;
  /** The number of a shape, new or known; it has now been seen with a period of this length. */
  number(shape: Shape, longest: number): number;
}

export function createShapes(db: Database.Database): Shapes {
  const byText = new Map<string, KnownShape>();
  const load = db.prepare<[], { number: number; text: string; longest: number }>(
    'SELECT shape AS number, text, longest FROM shape',
  );
  // A shape is mostly the very object of the last resource that had it.
  const texts = new WeakMap<Shape, string>();
  const textOf = (shape: Shape): string => {
    const text = texts.get(shape) ?? JSON.stringify(shape);
    texts.set(shape, text);
    return text;
  };
  for (const { text, ...rest } of load.all()) byText.set(text, { ...rest, shape: JSON.parse(text) as Shape });
  const insert = db.prepare('INSERT INTO shape (text, code, status, longest) VALUES (?, ?, ?, ?)');
  const lengthen = db.prepare('UPDATE shape SET longest = ? WHERE shape = ?');
  return {
    all: () => byText.values(),
    number(shape, longest) {
      const text = textOf(shape);
      const known = byText.get(text);
      if (known !== undefined && known.longest >= longest) return known.number;
      if (known !== undefined) {
        lengthen.run(longest, known.number);
        byText.set(text, { ...known, longest });
        return known.number;
      }
      const first = (name: string) => shape.tokens[name]?.[0]?.[1] ?? '';
      const number = Number(insert.run(text, first('code'), first('status'), longest).lastInsertRowid);
      byText.set(text, { number, shape, longest });
      return number;
    },
  };
}

/** Beyond so many all are looked up again. */
const MOST_KEPT = 20_000;

export interface Numbers<T> {
  /** The number of a thing, new or known. */
  put(thing: T): number;
}

/** 0 stands for no subject. */
export function createSubjects(db: Database.Database): Numbers<Subject | null> {
  const find = db.prepare<[string], number>('SELECT subject FROM subject WHERE text = ?').pluck();
  const insert = db.prepare('INSERT INTO subject (text, reference, system, value) VALUES (?, ?, ?, ?)');
  const kept = new Map<string, number>();
  // What one entry issues is mostly about the very same object.
  let latest: { readonly subject: Subject | null; readonly number: number } = { subject: null, number: 0 };
  return {
    put(subject) {
      if (subject === null) return 0;
      if (latest.subject === subject) return latest.number;
      const { reference, system, value } = subject;
      const number = keep(
        kept,
        JSON.stringify([reference, system, value]),
        (text) => find.get(text) ?? Number(insert.run(text, reference, system, value).lastInsertRowid),
      );
      latest = { subject, number };
      return number;
    },
  };
}

export interface Names extends Numbers<string> {
  /** Undefined: nothing has it. */
  find(text: string): number | undefined;
}

/** 0 stands for no name. */
export function createNames(db: Database.Database): Names {
  const find = db.prepare<[string], number>('SELECT name FROM name WHERE text = ?').pluck();
  const insert = db.prepare('INSERT INTO name (text) VALUES (?)');
  const kept = new Map<string, number>();
  return {
    put: (name) => keep(kept, name, (text) => find.get(text) ?? Number(insert.run(text).lastInsertRowid)),
    find: (text) => find.get(text),
  };
}

/** The number of a text, looked up where it is not kept. */
export function keep(kept: Map<string, number>, text: string, look: (text: string) => number): number {
  const known = kept.get(text);
  if (known !== undefined) return known;
  if (kept.size >= MOST_KEPT) kept.clear();
  const number = look(text);
  kept.set(text, number);
  return number;
}
