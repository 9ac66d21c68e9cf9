/** Which facts a change makes new, re-issues or withdraws: what did not change is not issued again. */

import type { Row } from '../fold/row.ts';
import { equal } from '../numbers/equal.ts';
import type { Fact, FactRef } from '../vocabulary/fact.ts';
import { chartedFacts } from './charted-facts.ts';
import { derivedFacts } from './derived-facts.ts';

/** FHIR R4 Observation.status, as far as this service uses it. */
export type IssueStatus = 'preliminary' | 'final' | 'amended' | 'corrected' | 'entered-in-error';

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

/** What a change leaves of facts, before and after: those that it cannot have changed may be left out of both. */
export interface FactsChanged {
  readonly before: readonly Fact[];
  readonly after: readonly Fact[];
}

/**
 * @param cause `corrected` when a correction or withdrawal made the change, `amended` when a late entry did
 * @param all re-issue every fact, because what stands on each of them (the patient) changed
 */
export function issues(
  { before, after }: FactsChanged,
  reissues: Reissues,
  cause: 'amended' | 'corrected',
  all: boolean,
): Issued[] {
  const old = new Map(before.map((fact) => [factKey(fact), fact]));
  const issued: Issued[] = [];
  for (const fact of after) {
    const key = factKey(fact);
    const was = old.get(key);
    old.delete(key);
    if (was !== undefined && !all && equal(was, fact)) continue;
    const last = lastIssue(reissues, key, was);
    issued.push({ fact, key, version: last.version + 1, status: statusAfter(last, fact, cause) });
  }
  for (const [key, fact] of old) {
    const { version } = lastIssue(reissues, key, fact);
    issued.push({ fact, key, version: version + 1, status: 'entered-in-error' });
  }
  return issued;
}

interface LastIssue {
  readonly version: number;
  readonly status: IssueStatus | null;
}

function lastIssue(reissues: Reissues, key: string, was: Fact | undefined): LastIssue {
  const first = was === undefined ? NEVER_ISSUED : { version: 1, status: firstStatus(was) };
  return reissues.get(key) ?? first;
}

const NEVER_ISSUED: LastIssue = { version: 0, status: null };

const firstStatus = (fact: Fact): IssueStatus => (fact.open === true ? 'preliminary' : 'final');

/** What goes on may change and is not final; once final, any change is one that is owed to a cause. */
function statusAfter({ status }: LastIssue, fact: Fact, cause: 'amended' | 'corrected'): IssueStatus {
  return status === null || status === 'preliminary' ? firstStatus(fact) : cause;
}

/** Facts of rows that a change may have changed. */
export function rowFacts(before: readonly Row[], after: readonly Row[], all: boolean): FactsChanged {
  const changed = all ? { before, after } : changedRows(before, after);
  return { before: changed.before.flatMap(factsOf), after: changed.after.flatMap(factsOf) };
}

/** A fact hangs on one row, so rows that are the same before and after need no look at their facts. */
function changedRows(before: readonly Row[], after: readonly Row[]) {
  const rows = new Map(before.map((row) => [row.item.id, row]));
  const isSame = (row: Row): boolean => equal(rows.get(row.item.id), row);
  const kept = new Set(after.filter(isSame).map((row) => row.item.id));
  const isChanged = (row: Row): boolean => !kept.has(row.item.id);
  return { before: before.filter(isChanged), after: after.filter(isChanged) };
}
