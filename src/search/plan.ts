/** A query against what the index holds: which shapes and subjects can match, and what is still to be asked of each row. */
import type Database from 'better-sqlite3';
import { EVER } from '../fhir/search/date-range.ts';
import { isPatient, type Shape, type Subject, type Token } from '../fhir/search/extract.ts';
import type { Criterion, Query, TokenValue } from '../fhir/search/query.ts';
import { ID, identifierOf } from '../fhir/search/word.ts';
import type { KnownShape, Names, Shapes } from './dictionaries.ts';
import {
  among,
  both,
  type ConvertUnit,
  DATED,
  effectiveFragment,
  either,
  type Fragment,
  fragment,
  ofNamings,
  UNDATED,
  updatedFragment,
  valueFragment,
} from './fragments.ts';
import { createNamingSearch } from './namings.ts';
import { anyOf, beginningWith, hasWord, rowsWith } from './words.ts';

export interface Plan {
  readonly shapes: readonly KnownShape[];
  /** Null: whichever. */
  readonly subjects: readonly number[] | null;
  /** Rows to start from, as a subquery that gives `row`: few, it is hoped. */
  readonly source: Fragment | null;
  /** Without either: sets of systems, of which all rows of one stand in their order. Null: whichever. */
  readonly namings: readonly number[] | null;
  /** What every row has to fulfil, whatever its shape. */
  readonly where: Fragment;
  /** What it has to fulfil besides, by its shape. */
  whereOf(shape: KnownShape): Fragment;
}

export interface Planner {
  plan(query: Pick<Query, 'type' | 'criteria'>): Plan;
}

export interface PlannerParts {
  readonly db: Database.Database;
  readonly shapes: Shapes;
  readonly names: Names;
  readonly convert: ConvertUnit;
  /** The first row issued at a time or later. */
  rowAt(ms: number): number;
}

export function createPlanner({ db, shapes, names, convert, rowAt }: PlannerParts): Planner {
  const subjectsBy = createSubjectSearch(db);
  const words = { names, namingsOf: createNamingSearch(db, names) };
  return {
    plan({ type, criteria }) {
      const subjects = criteria.flatMap((each) =>
        each.parameter.home === 'subject' && each.by !== 'missing' ? [subjectsBy(each)] : [],
      );
      const found = criteria.flatMap((each) => foundBy(type.type, each, words));
      // With subjects the rows of those are walked; else those of the first word, or of the first that names systems alone.
      const first = subjects.length > 0 ? undefined : (found.find(({ rows }) => rows !== null) ?? found[0]);
      const tests = found.filter((each) => each !== first).map(({ test }) => test);
      return {
        shapes: [...shapes.all()].filter(
          ({ shape }) => shape.type === type.type && criteria.every((each) => fitsShape(each, shape)),
        ),
        subjects: subjects.length === 0 ? null : subjects.reduce(intersection),
        source: first?.rows ?? null,
        namings: first?.rows === null ? first.namings : null,
        where: both([...tests, ...criteria.flatMap((each) => rowTest(each, rowAt))]),
        whereOf: (shape) => both(criteria.flatMap((each) => shapeTest(each, shape, convert))),
      };
    },
  };
}

const intersection = (a: readonly number[], b: readonly number[]): readonly number[] =>
  a.filter((each) => b.includes(each));

/** Whether resources of a shape can fulfil a criterion. */
function fitsShape(criterion: Criterion, shape: Shape): boolean {
  const { name, home } = criterion.parameter;
  if (criterion.by === 'missing') {
    if (home === 'effective') return true;
    const there =
      home === 'shape'
        ? (shape.tokens[name] ?? []).length > 0
        : home === 'value'
          ? shape.unit !== null
          : shape.present.includes(name);
    return there !== criterion.missing;
  }
  if (criterion.by === 'token' && home === 'shape') {
    const has = criterion.values.some((value) => hasToken(shape.tokens[name] ?? [], value));
    return has !== criterion.not;
  }
  if (criterion.by === 'coded-quantity')
    return criterion.values.some(({ code }) => hasToken(shape.tokens.code ?? [], code));
  return true;
}

const hasToken = (tokens: readonly Token[], { system, code }: TokenValue): boolean =>
  tokens.some(
    ([of, each]) => (system === undefined || system === of) && (code === undefined || code === each),
  );

/** A criterion on words or ids, as the rows that fulfil it and as a test of one row. */
interface Found {
  /** Null: those of `namings`, which may be any number. */
  readonly rows: Fragment | null;
  readonly namings: readonly number[];
  readonly test: Fragment;
}

interface Words {
  readonly names: Names;
  readonly namingsOf: ReturnType<typeof createNamingSearch>;
}

function foundBy(type: string, criterion: Criterion, words: Words): readonly Found[] {
  const { names } = words;
  const { home, name } = criterion.parameter;
  if (home === 'id' && criterion.by === 'token') {
    const listed = criterion.values.map(({ code = '' }) => code);
    return [
      {
        ...word(ID, anyOf(listed), names),
        test: among('v.id', listed),
      },
    ];
  }
  if (home !== 'word') return [];
  if (criterion.by === 'reference') {
    return [word(name, both([anyOf(criterion.values), fragment('p.system = 0')]), names)];
  }
  if (criterion.by === 'string') return [word(name, either(criterion.values.map(beginningWith)), names)];
  if (criterion.by === 'identifier') return [identified(type, identifierOf(name), criterion.values, words)];
  if (criterion.by === 'token') return [identified(type, name, criterion.values, words)];
  return [];
}

/** By their values; of a system without one by the sets that it is in. */
function identified(
  type: string,
  parameter: string,
  values: readonly TokenValue[],
  { names, namingsOf }: Words,
): Found {
  const named = values.filter(({ code }) => code !== undefined);
  const found = word(parameter, either(identifiersIn(named, names)), names);
  if (named.length === values.length) return found;
  const systems = values.flatMap(({ system, code }) => (code === undefined ? (system ?? []) : []));
  const namings = namingsOf(type, parameter, systems);
  const test = ofNamings(namings);
  if (named.length === 0) return { rows: null, namings, test };
  const both = fragment(
    `${found.rows?.sql} UNION SELECT v.row FROM version v WHERE ${test.sql}`,
    ...(found.rows?.values ?? []),
    ...test.values,
  );
  return { rows: both, namings: [], test: either([test, found.test]) };
}

function word(parameter: string, which: Fragment, names: Names): Found {
  const number = names.find(parameter) ?? -1;
  return { rows: rowsWith(number, which), namings: [], test: hasWord(number, which) };
}

function identifiersIn(values: readonly TokenValue[], names: Names): readonly Fragment[] {
  return values.map(({ system, code }) => {
    const scope = system === null ? 0 : system === undefined ? undefined : (names.find(system) ?? -1);
    return both([anyOf([code ?? '']), ...(scope === undefined ? [] : [fragment('p.system = ?', scope)])]);
  });
}

function rowTest(criterion: Criterion, rowAt: (ms: number) => number): readonly Fragment[] {
  const { home } = criterion.parameter;
  if (criterion.by === 'missing' && home === 'effective') return [criterion.missing ? UNDATED : DATED];
  if (criterion.by === 'date' && home === 'updated')
    return [either(criterion.values.map((value) => updatedFragment(value, rowAt)))];
  return [];
}

function shapeTest(
  criterion: Criterion,
  { shape, longest }: KnownShape,
  convert: ConvertUnit,
): readonly Fragment[] {
  if (criterion.by === 'date' && criterion.parameter.home === 'effective')
    return [either(criterion.values.map((value) => effectiveFragment(value, Math.min(longest, EVER))))];
  if (criterion.by === 'quantity')
    return [either(criterion.values.map((value) => valueFragment(shape.unit, value, convert)))];
  if (criterion.by === 'coded-quantity') {
    const fitting = criterion.values.filter(({ code }) => hasToken(shape.tokens.code ?? [], code));
    return [either(fitting.map(({ quantity }) => valueFragment(shape.unit, quantity, convert)))];
  }
  return [];
}

/** Rows are in the order of their issue: the first issued at a time or later is found by halving. */
export function createRowAt(db: Database.Database): (ms: number) => number {
  const last = db.prepare<[], number | null>('SELECT max(row) FROM version').pluck();
  const updated = db
    .prepare<[number], number>('SELECT updated_ms FROM version WHERE row >= ? ORDER BY row LIMIT 1')
    .pluck();
  return (ms) => {
    let [low, high] = [1, (last.get() ?? 0) + 1];
    while (low < high) {
      const middle = Math.floor((low + high) / 2);
      if ((updated.get(middle) ?? Infinity) >= ms) high = middle;
      else low = middle + 1;
    }
    return low;
  };
}

function createSubjectSearch(db: Database.Database): (criterion: Criterion) => readonly number[] {
  interface Row extends Subject {
    readonly number: number;
  }
  const columns = 'SELECT subject AS number, reference, system, value FROM subject';
  const byReference = db.prepare<[string], Row>(
    `${columns} WHERE reference IN (SELECT value FROM json_each(?))`,
  );
  const byValue = db.prepare<[string], Row>(`${columns} WHERE value = ?`);
  const bySystem = db.prepare<[string], Row>(`${columns} WHERE system = ? AND value IS NOT NULL`);
  const identified = ({ system, code }: TokenValue): readonly Row[] =>
    (code === undefined ? bySystem.all(system ?? '') : byValue.all(code)).filter(
      (each) => system === undefined || each.system === system,
    );
  return (criterion) => {
    const found =
      criterion.by === 'reference'
        ? byReference.all(JSON.stringify(criterion.values))
        : criterion.by === 'identifier'
          ? criterion.values.flatMap(identified)
          : [];
    const fitting = criterion.parameter.name === 'patient' ? found.filter(isPatient) : found;
    return [...new Set(fitting.map(({ number }) => number))];
  };
}
