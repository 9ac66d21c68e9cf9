/** Finds the versions that a query matches as of a row of the index, page by page. */
import type Database from 'better-sqlite3';
import type { Query, SortKey } from '../fhir/search/query.ts';
import { among, both, either, type Fragment, fragment, ofNamings } from './fragments.ts';
import type { Plan } from './plan.ts';

export interface Hit {
  readonly row: number;
  readonly id: string;
  readonly issue: number;
  readonly position: number;
  readonly shape: number;
  readonly subject: number;
  readonly lo: number;
  readonly hi: number;
  readonly value: number | null;
}

/** Where a page ended: values of the sort keys, and the row that breaks ties. */
export interface Place {
  readonly keys: readonly (number | string)[];
  readonly row: number;
}

export interface Finder {
  /** Up to `most` matches after a place (null: from the start), as of the row `asOf`. */
  page(plan: Plan, sort: Query['sort'], asOf: number, after: Place | null, most: number): readonly Hit[];
  count(plan: Plan, asOf: number): number;
  placeOf(hit: Hit, sort: Query['sort']): Place;
  newestRow(): number;
}

const HIT = 'v.row, v.id, v.issue, v.position, v.shape, v.subject, v.lo, v.hi, v.value';
const COLUMN: Readonly<Record<string, string>> = {
  // The end, at which a sum since placement is as new as the level it ends with.
  date: 'v.hi',
  recorded: 'v.hi',
  // Rows are in the order of their issue.
  _lastUpdated: 'v.row',
  _id: 'v.id',
  code: 's.code',
  status: 's.status',
};
/** For all there is, as a page. */
export const UNBOUNDED = 1_000_000_000;
export const NEWEST_FIRST: Query['sort'] = [{ name: 'date', descending: true }];
/** A page is merged from one walk of an index for each pair of subject and shape, up to so many walks. */
const MOST_WALKS = 3000;

export function createFinder(db: Database.Database): Finder {
  const prepared = createPreparer(db);
  const newest = db.prepare<[], number | null>('SELECT max(row) FROM version').pluck();
  const run = <T>({ sql, values }: Fragment): readonly T[] => prepared(sql).all(...values) as readonly T[];
  return {
    page(plan, sort, asOf, after, most) {
      const keys = sort.length === 0 ? NEWEST_FIRST : sort;
      const walks = numberOfWalks(plan);
      if (walks === 0) return [];
      const [key] = keys;
      const byDate = keys.length === 1 && COLUMN[key?.name ?? ''] === COLUMN.date;
      if (byDate && plan.source === null && walks <= MOST_WALKS)
        return merged(plan, key, asOf, after, most, run);
      return run(sorted(plan, keys, asOf, after, most));
    },
    count(plan, asOf) {
      if (numberOfWalks(plan) === 0) return 0;
      const { from, where } = wholeQuery(plan, asOf);
      const [found] = run<{ n: number }>(
        fragment(`SELECT count(*) AS n FROM ${from.sql} WHERE ${where.sql}`, ...from.values, ...where.values),
      );
      return found?.n ?? 0;
    },
    placeOf(hit, sort) {
      const keys = sort.length === 0 ? NEWEST_FIRST : sort;
      const columns = keys.map(({ name }) => `${COLUMN[name]}`).join(', ');
      const sql = `SELECT ${columns} FROM version v JOIN shape s ON s.shape = v.shape WHERE v.row = ?`;
      return { row: hit.row, keys: prepared(sql).raw(true).get(hit.row) as (number | string)[] };
    },
    newestRow: () => newest.get() ?? 0,
  };
}

const MOST_PREPARED = 500;

function createPreparer(db: Database.Database): (sql: string) => Database.Statement<unknown[]> {
  const kept = new Map<string, Database.Statement<unknown[]>>();
  return (sql) => {
    const known = kept.get(sql);
    if (known !== undefined) return known.raw(false);
    if (kept.size >= MOST_PREPARED) kept.clear();
    const statement = db.prepare<unknown[]>(sql);
    kept.set(sql, statement);
    return statement;
  };
}

/**
 * By effective time: every walk is in order, so of each only as much is read as may be on the page, and a page costs
 * the same however deep it is.
 */
function merged(
  plan: Plan,
  key: SortKey | undefined,
  asOf: number,
  after: Place | null,
  most: number,
  run: (of: Fragment) => readonly Hit[],
): readonly Hit[] {
  const sign = key?.descending === true ? -1 : 1;
  const compare = (a: Pick<Hit, 'hi' | 'row'>, b: Pick<Hit, 'hi' | 'row'>): number =>
    sign * (a.hi - b.hi || a.row - b.row);
  const start = after === null ? null : { hi: Number(after.keys[0]), row: after.row };
  let going = walksOf(plan, asOf).map((walk) => ({ ...walk, last: start }));
  const inOne = Math.min(most, LEAST_OF_A_WALK + Math.ceil((2 * most) / going.length));
  let found: Hit[] = [];
  while (going.length > 0) {
    const gone = going.map((walk) => ({ walk, hits: run(nextOf(walk, walk.last, sign, inOne)) }));
    found = [...found, ...gone.flatMap(({ hits }) => hits)].sort(compare).slice(0, most);
    const end = found.length < most ? undefined : found.at(-1);
    going = gone.flatMap(({ walk, hits }) => {
      const last = hits.at(-1);
      const isOver = last === undefined || hits.length < inOne;
      return isOver || (end !== undefined && compare(last, end) >= 0) ? [] : { ...walk, last };
    });
  }
  return found;
}

const LEAST_OF_A_WALK = 4;

interface Walk {
  readonly index: string;
  readonly where: Fragment;
}

const numberOfWalks = ({ shapes, subjects, namings }: Plan): number =>
  namings !== null && shapes.length > 0 ? namings.length : shapes.length * (subjects?.length ?? 1);

/** One for each set of systems, or pair of subject and shape, by the index in which it stands in order. */
function walksOf(plan: Plan, asOf: number): readonly Walk[] {
  if (plan.namings !== null)
    return plan.namings.map((naming) => ({
      index: 'version_by_naming',
      where: both([
        fragment('v.naming > 0 AND v.naming = ?', naming),
        ...[visible(asOf), plan.where, byShape(plan)],
      ]),
    }));
  return plan.shapes.flatMap((shape) => {
    const tests = [visible(asOf), plan.where, plan.whereOf(shape)];
    if (plan.subjects === null) {
      const where = both([fragment('v.shape = ?', shape.number), ...tests]);
      return { index: 'version_by_shape', where };
    }
    return plan.subjects.map((subject) => ({
      index: 'version_by_subject',
      where: both([fragment('v.subject = ? AND v.shape = ?', subject, shape.number), ...tests]),
    }));
  });
}

function nextOf(
  { index, where }: Walk,
  after: Pick<Hit, 'hi' | 'row'> | null,
  sign: number,
  most: number,
): Fragment {
  const [order, beyond] = sign < 0 ? ['DESC', '<'] : ['ASC', '>'];
  const start = after === null ? [] : [fragment(`(v.hi, v.row) ${beyond} (?, ?)`, after.hi, after.row)];
  const { sql, values } = both([where, ...start]);
  return fragment(
    `SELECT ${HIT} FROM version v INDEXED BY ${index} WHERE ${sql} ORDER BY v.hi ${order}, v.row ${order} LIMIT ?`,
    ...values,
    most,
  );
}

/** By any keys: all matches are sorted, but for the order of issue, in which rows stand anyway. */
function sorted(plan: Plan, keys: Query['sort'], asOf: number, after: Place | null, most: number): Fragment {
  const { from, where } = wholeQuery(plan, asOf);
  const tie = keys[0]?.descending === true;
  const columns = [
    ...keys.map(({ name, descending }) => ({ sql: COLUMN[name] ?? '', descending })),
    { sql: 'v.row', descending: tie },
  ];
  const start = after === null ? [] : [beyondPlace(columns, [...after.keys, after.row])];
  const { sql, values } = both([where, ...start]);
  const order = columns.map((column) => `${column.sql} ${column.descending ? 'DESC' : 'ASC'}`).join(', ');
  return fragment(
    `SELECT ${HIT} FROM ${from.sql} WHERE ${sql} ORDER BY ${order} LIMIT ?`,
    ...from.values,
    ...values,
    most,
  );
}

/** After a place in an order of several keys: the first key that differs decides. */
function beyondPlace(
  columns: readonly { readonly sql: string; readonly descending: boolean }[],
  place: readonly (number | string)[],
): Fragment {
  return either(
    columns.map(({ sql, descending }, n) =>
      both([
        ...columns.slice(0, n).map((same, i) => fragment(`${same.sql} = ?`, place[i] ?? 0)),
        fragment(`${sql} ${descending ? '<' : '>'} ?`, place[n] ?? 0),
      ]),
    ),
  );
}

const visible = (asOf: number): Fragment => fragment('v.row <= ? AND v.superseded > ?', asOf, asOf);

function wholeQuery(plan: Plan, asOf: number): { readonly from: Fragment; readonly where: Fragment } {
  const { source, subjects, namings, where } = plan;
  const table = 'version v CROSS JOIN shape s ON s.shape = v.shape';
  const from =
    source === null
      ? // Rows of subjects or systems by their index; with neither, the rows in their order.
        fragment(
          subjects === null && namings === null ? table.replace('version v', 'version v NOT INDEXED') : table,
        )
      : fragment(
          `(SELECT DISTINCT row FROM (${source.sql})) d CROSS JOIN version v ON v.row = d.row CROSS JOIN shape s ON s.shape = v.shape`,
          ...source.values,
        );
  const ofSubjects = subjects === null ? [] : [among('v.subject', subjects)];
  const ofSystems = namings === null ? [] : [ofNamings(namings)];
  return { from, where: both([visible(asOf), ...ofSubjects, ...ofSystems, where, byShape(plan)]) };
}

/** Shapes that ask the same of their rows are taken together. */
function byShape({ shapes, whereOf }: Plan): Fragment {
  const groups = new Map<string, { readonly test: Fragment; readonly shapes: number[] }>();
  for (const shape of shapes) {
    const test = whereOf(shape);
    const key = JSON.stringify(test);
    const group = groups.get(key) ?? { test, shapes: [] };
    group.shapes.push(shape.number);
    groups.set(key, group);
  }
  return either(
    [...groups.values()].map(({ test, shapes: numbers }) => both([among('v.shape', numbers), test])),
  );
}
