/** Which facts a change makes new, re-issues or withdraws: what did not change is not issued again. */
import { chartedFacts } from './charted-facts.ts';
import { derivedFacts } from './derived-facts.ts';
import { equal } from './equal.ts';
import type { Fact, FactRef } from './fact.ts';
import type { Row } from './row.ts';

/** FHIR R4 Observation.status, as far as this service uses it. */
export type IssueStatus = 'final' | 'amended' | 'corrected' | 'entered-in-error';

export interface Issued {
  readonly fact: Fact;
  readonly key: string;
  readonly version: number;
  readonly status: IssueStatus;
}

/** Version and status of facts that were issued more than once; absent means once, as final. */
export type Reissues = ReadonlyMap<string, { readonly version: number; readonly status: IssueStatus }>;

/** A fact's name within its drain, for ever. */
export const factKey = ({ name, anchor }: FactRef): string => `${name}.${anchor}`;

/** All facts of a row; none while a mark keeps the whole statement out. */
export function factsOf(row: Row): Fact[] {
  return row.counted ? [...chartedFacts(row), ...derivedFacts(row)] : [];
}

/**
 * @param cause `corrected` when a correction or withdrawal made the change, `amended` when a late entry did
 * @param all re-issue every fact, because what stands on each of them (the patient) changed
 */
export function issues(
  before: readonly Row[],
  after: readonly Row[],
  reissues: Reissues,
  cause: 'amended' | 'corrected',
  all: boolean,
): Issued[] {
  const changed = all ? { before, after } : changedRows(before, after);
  const old = new Map(changed.before.flatMap(factsOf).map((fact) => [factKey(fact), fact]));
  const issued: Issued[] = [];
  for (const fact of changed.after.flatMap(factsOf)) {
    const key = factKey(fact);
    const was = old.get(key);
    old.delete(key);
    if (was !== undefined && !all && equal(was, fact)) continue;
    const version = versionAfter(reissues, key, was !== undefined);
    issued.push({ fact, key, version, status: version === 1 ? 'final' : cause });
  }
  for (const [key, fact] of old) {
    issued.push({ fact, key, version: versionAfter(reissues, key, true), status: 'entered-in-error' });
  }
  return issued;
}

function versionAfter(reissues: Reissues, key: string, stands: boolean): number {
  const last = reissues.get(key)?.version ?? (stands ? 1 : 0);
  return last + 1;
}

/** A fact hangs on one row, so rows that are the same before and after need no look at their facts. */
function changedRows(before: readonly Row[], after: readonly Row[]) {
  const rows = new Map(before.map((row) => [row.item.id, row]));
  const isSame = (row: Row): boolean => equal(rows.get(row.item.id), row);
  const kept = new Set(after.filter(isSame).map((row) => row.item.id));
  const isChanged = (row: Row): boolean => !kept.has(row.item.id);
  return { before: before.filter(isChanged), after: after.filter(isChanged) };
}
