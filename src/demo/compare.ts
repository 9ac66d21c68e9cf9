/** Whether the EHR holds exactly what the ledger issued: every resource once, in its current text. */
import { createFrameReader } from '../store/sqlite/frames.ts';
import { openReader } from '../store/sqlite/open.ts';
import type { Texts } from './received.ts';

const START = /^\{"resourceType":"(\w+)","id":"([^"]+)"/;

/** The current text of every resource ever issued. The service must have stopped: the file is its own until then. */
export function issuedTexts(database: string): Texts {
  const db = openReader(database);
  try {
    const stored = db.prepare<[], string>('SELECT resources FROM issued ORDER BY log_index, drain').pluck();
    return currentTexts(stored.all().flatMap(createFrameReader(db)));
  } finally {
    db.close();
  }
}

/** The last text of each resource, by type and id, from texts in the order of their issue. */
export function currentTexts(issued: readonly string[]): Texts {
  const current = new Map<string, string>();
  for (const text of issued) {
    const [, type, id] = START.exec(text) ?? [];
    if (id === undefined) throw new Error(`no resource of the ledger: ${text.slice(0, 80)}`);
    current.set(`${type}/${id}`, text);
  }
  return current;
}

/** A line for each difference; none means that both hold the same. */
export function differences(expected: Texts, held: Texts, source: string): string[] {
  const found: string[] = [];
  for (const [name, text] of expected) {
    const got = held.get(name);
    if (got === undefined) found.push(`missing at the EHR: ${name}`);
    else if (got !== text) found.push(`not the version that ${source} holds: ${name}`);
  }
  for (const name of held.keys()) {
    if (!expected.has(name)) found.push(`at the EHR, but not in ${source}: ${name}`);
  }
  return found;
}
