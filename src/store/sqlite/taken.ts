/**
 * What targets took last, one row for all that hangs on one entry: a reading issues some 17 resources, and a row for each
 * was the largest part of what a delivery cost.
 */
import type Database from 'better-sqlite3';
import type { DeliveryStore, Taken } from '../delivery-port.ts';

/** By type and name of the resource. `remote` is 0 where the target calls it as we do. */
type Row = Record<
  string,
  readonly [version: number, remote: string | 0 | null, etag: string | null, acceptedMs: number | null]
>;

/** Ids end with the entry they hang on. */
function placeOf(resource: string): { readonly member: string; readonly anchor: string } {
  const dot = resource.lastIndexOf('.');
  return { member: resource.slice(0, dot), anchor: resource.slice(dot + 1) };
}

function byAnchor<T>(
  all: readonly T[],
  nameOf: (each: T) => string,
): Map<string, [member: string, each: T][]> {
  const grouped = new Map<string, [string, T][]>();
  for (const each of all) {
    const { member, anchor } = placeOf(nameOf(each));
    const group = grouped.get(anchor);
    if (group === undefined) grouped.set(anchor, [[member, each]]);
    else group.push([member, each]);
  }
  return grouped;
}

const READ = 'SELECT resources FROM taken WHERE target = ? AND drain = ? AND anchor = ?';

export function createTakenWriter(db: Database.Database) {
  const read = db.prepare<[string, string, string], string>(READ).pluck();
  const add = db.prepare(
    'INSERT INTO taken (target, drain, anchor, resources) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING',
  );
  const change = db.prepare('UPDATE taken SET resources = ? WHERE target = ? AND drain = ? AND anchor = ?');
  return (target: string, drain: string, taken: readonly Taken[]): void => {
    for (const [anchor, group] of byAnchor(taken, ({ resource }) => resource)) {
      // Mostly it is the first that is heard of it, and then there is nothing to read.
      if (add.run(target, drain, anchor, JSON.stringify(withTaken({}, group))).changes === 1) continue;
      const before = JSON.parse(read.get(target, drain, anchor) ?? '{}') as Row;
      change.run(JSON.stringify(withTaken(before, group)), target, drain, anchor);
    }
  };
}

/** The row itself, changed. */
function withTaken(row: Row, group: readonly (readonly [member: string, taken: Taken])[]): Row {
  for (const [member, { resource, version, remote, etag, acceptedMs }] of group) {
    const known = remote === resource ? 0 : (remote ?? row[member]?.[1] ?? null);
    row[member] = [version, known, etag, acceptedMs];
  }
  return row;
}

/** Of one row, as a drain goes to a target by one way from its first delivery on. */
export function createElsewhereReader(db: Database.Database): DeliveryStore['standsElsewhere'] {
  const any = db
    .prepare<[string, string], string>('SELECT resources FROM taken WHERE target = ? AND drain = ? LIMIT 1')
    .pluck();
  return (target, drain) =>
    Object.values(JSON.parse(any.get(target, drain) ?? '{}') as Row).some(([, remote]) => remote !== 0);
}

export function createTakenReader(db: Database.Database): DeliveryStore['taken'] {
  const read = db.prepare<[string, string, string], string>(READ).pluck();
  return (target, drain, resources) =>
    [...byAnchor(resources, (name) => name)].flatMap(([anchor, group]) => {
      const found = read.get(target, drain, anchor);
      const row = found === undefined ? {} : (JSON.parse(found) as Row);
      return group.flatMap(([member, resource]) => {
        const [version, remote, etag, acceptedMs] = row[member] ?? [];
        if (version === undefined) return [];
        return [
          {
            resource,
            version,
            remote: remote === 0 ? resource : (remote ?? null),
            etag: etag ?? null,
            acceptedMs: acceptedMs ?? null,
          },
        ];
      });
    });
}
