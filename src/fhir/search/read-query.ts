/** A search request into a query, or the first thing that keeps it from being one. Nothing is ever ignored unsaid. */
import { type Criterion, type Pair, type Query, type SortKey, SUMMARIES, type Summary } from './query.ts';
import { readCriterion } from './read-criterion.ts';
import type { Reading } from './reading.ts';
import { Refused, refused, UnknownParameter } from './refused.ts';
import type { Followed, ResourceType } from './resource-type.ts';
import { SHAPING } from './resource-types.ts';

/** R4 lets a server return fewer than asked for, never more. */
const MOST_COUNT = 1000;
const USUAL_COUNT = 100;
const MOST_VALUES = 500;

/** @throws {Refused} */
export function readQuery(type: ResourceType, pairs: readonly Pair[], reading: Reading): Query {
  const criteria: Criterion[] = [];
  const shaping = new Map<string, string>();
  const includes: Followed[] = [];
  const revincludes: Followed[] = [];
  const used: Pair[] = [];
  const ignored: string[] = [];
  let sort: readonly SortKey[] = [];
  for (const pair of pairs) {
    const [name, value] = pair;
    if (reading.others.includes(name) || name === '_format') continue;
    try {
      if (name === '_include') includes.push(readInclude(type, value));
      else if (name === '_revinclude') revincludes.push(readRevinclude(type, value));
      else if (Object.hasOwn(SHAPING, name)) {
        if (name === '_sort') sort = readSort(type, value);
        once(shaping, name, value);
      } else if (value === '') throw refused(name, value, 'is empty', 'leave it out or give it a value');
      else criteria.push(readCriterion(type, pair, reading));
      used.push(pair);
    } catch (error) {
      if (!reading.lenient || !(error instanceof UnknownParameter)) throw error;
      ignored.push(error.message);
    }
  }
  if (criteria.reduce((sum, each) => sum + ('values' in each ? each.values.length : 1), 0) > MOST_VALUES)
    throw new Refused(400, 'too-costly', `the search has over ${MOST_VALUES} values: ask in parts`);
  return { type, criteria, includes, revincludes, used, ignored, sort, ...readShaping(shaping) };
}

function once(shaping: Map<string, string>, name: string, value: string): void {
  if (shaping.has(name)) throw refused(name, value, 'stands more than once', 'send it once');
  shaping.set(name, value);
}

function readShaping(given: ReadonlyMap<string, string>): Pick<Query, 'count' | 'total' | 'view'> {
  const summary = oneOf('_summary', given.get('_summary') ?? 'false', SUMMARIES);
  const elements = given.get('_elements');
  if (elements !== undefined && !['false', 'count'].includes(summary))
    throw refused('_elements', elements, 'stands beside _summary', 'send one of them');
  return {
    count: summary === 'count' ? 0 : readCount(given.get('_count')),
    // An estimate may be exact.
    total:
      oneOf('_total', given.get('_total') ?? 'none', ['none', 'estimate', 'accurate']) === 'none'
        ? 'none'
        : 'accurate',
    view: { summary, elements: elements === undefined ? null : readElements(elements) },
  };
}

function oneOf<T extends string>(name: string, value: string, allowed: readonly T[]): T {
  const found = allowed.find((each) => each === value);
  if (found === undefined) throw refused(name, value, 'is not known', `send ${allowed.join(', ')}`);
  return found;
}

export function readCount(text: string | undefined): number {
  if (text === undefined) return USUAL_COUNT;
  if (!/^\d{1,9}$/.test(text)) throw refused('_count', text, 'is no count', `send 0 to ${MOST_COUNT}`);
  return Math.min(Number(text), MOST_COUNT);
}

/** Names of elements at the top of the resource, without its type. */
export function readElements(text: string): readonly string[] {
  const names = text.split(',').map((each) => each.trim());
  const bad = names.find((each) => !/^[A-Za-z][A-Za-z0-9]*(\[x\])?$/.test(each));
  if (bad !== undefined) {
    throw refused('_elements', text, 'names no elements', 'send names such as status,code,value');
  }
  return names.map((each) => each.replace('[x]', ''));
}

export function readSummary(text: string): Exclude<Summary, 'count'> {
  const allowed: readonly Exclude<Summary, 'count'>[] = ['true', 'false', 'text', 'data'];
  return oneOf('_summary', text, allowed);
}

function readSort({ sortable }: ResourceType, text: string): readonly SortKey[] {
  const keys = text.split(',').map((each) => ({
    name: each.replace(/^-/, ''),
    descending: each.startsWith('-'),
  }));
  for (const { name } of keys) {
    if (!sortable.includes(name)) {
      throw new UnknownParameter(
        `_sort=${name.slice(0, 40)} is no sort key here: use ${sortable.join(', ')}`,
      );
    }
  }
  if (new Set(keys.map(({ name }) => name)).size < keys.length)
    throw refused('_sort', text, 'names a key twice', 'name each once');
  return keys;
}

/** `Observation:device` or `Observation:device:Device`. */
function readInclude({ type, includes }: ResourceType, text: string): Followed {
  const found = includes.find((each) =>
    [includeName(type, each), `${includeName(type, each)}:${each.type}`].includes(text),
  );
  return (
    found ??
    notFollowed(
      '_include',
      text,
      includes.map((each) => includeName(type, each)),
    )
  );
}

/** `Provenance:target` or `Provenance:target:Observation`. */
function readRevinclude({ type, revincludes }: ResourceType, text: string): Followed {
  const found = revincludes.find((each) =>
    [revincludeName(each), `${revincludeName(each)}:${type}`].includes(text),
  );
  return found ?? notFollowed('_revinclude', text, revincludes.map(revincludeName));
}

/** As a client names it. */
export const includeName = (type: string, { parameter }: Followed): string => `${type}:${parameter}`;
export const revincludeName = ({ type, parameter }: Followed): string => `${type}:${parameter}`;

function notFollowed(name: string, text: string, known: readonly string[]): never {
  const mend = known.length === 0 ? 'leave it out' : `use ${known.join(', ')}`;
  throw new UnknownParameter(`${name}=${text.slice(0, 60)} is not supported: ${mend}`);
}
