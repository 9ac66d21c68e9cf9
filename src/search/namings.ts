/** Which systems the identifiers in a resource are of: so that all of a system are found without going through its values. */
import type Database from 'better-sqlite3';
import type { Word } from '../fhir/search/word.ts';
import { keep, type Names } from './dictionaries.ts';

export interface Namings {
  /** The number of the set of systems that a resource of a type names, new or known; 0: none. */
  number(type: string, words: readonly Word[]): number;
}

export function createNamings(db: Database.Database, names: Names): Namings {
  const find = db.prepare<[string], number>('SELECT naming FROM naming WHERE text = ?').pluck();
  const insert = db.prepare('INSERT INTO naming (text) VALUES (?)');
  const insertSystem = db.prepare('INSERT INTO naming_system (parameter, system, naming) VALUES (?, ?, ?)');
  const kept = new Map<string, number>();

  function put(type: string, words: readonly Word[]): number {
    const systems = new Map<string, readonly [parameter: number, system: number]>();
    for (const { kind } of words) {
      const { parameter, system } = kind;
      if (system) systems.set(`${parameter} ${system}`, [names.put(parameter), names.put(system)]);
    }
    const pairs = [...systems].sort(([a], [b]) => (a < b ? -1 : 1)).map(([, pair]) => pair);
    const text = JSON.stringify([type, ...pairs]);
    const known = find.get(text);
    if (known !== undefined) return known;
    const naming = Number(insert.run(text).lastInsertRowid);
    for (const pair of pairs) insertSystem.run(...pair, naming);
    return naming;
  }

  return {
    number(type, words) {
      let said = '';
      for (const { kind } of words) if (kind.system) said += `\n${kind.parameter} ${kind.system}`;
      return said === '' ? 0 : keep(kept, type + said, () => put(type, words));
    },
  };
}

/** Sets that have one of these systems for a parameter. */
export function createNamingSearch(
  db: Database.Database,
  names: Names,
): (type: string, parameter: string, systems: readonly string[]) => readonly number[] {
  const find = db
    .prepare<[number, number, string], number>(
      `SELECT naming FROM naming_system JOIN naming USING (naming)
       WHERE parameter = ? AND system = ? AND text ->> 0 = ?`,
    )
    .pluck();
  return (type, parameter, systems) => {
    const found = systems.flatMap((system) =>
      find.all(names.find(parameter) ?? -1, names.find(system) ?? -1, type),
    );
    return [...new Set(found)];
  };
}
