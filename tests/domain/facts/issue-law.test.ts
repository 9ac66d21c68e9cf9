import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import type { Subject } from '../../../src/domain/book/book.ts';
import { type Accepted, decide, enter } from '../../../src/domain/decide.ts';
import type { Issued } from '../../../src/domain/facts/issue.ts';
import type { DrainView } from '../../../src/domain/fold/drain.ts';
import { entryOf, reopened, type Told } from '../../support/drain-script.ts';
import { factsHeld } from '../../support/facts.ts';
import { arrivalOf, ledger } from '../../support/ledgers.ts';
import { DEFAULT_POLICY } from '../../support/policy.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

/** What a record that takes every issue as it comes holds in the end: the latest of each fact, by drain and key. */
type Recorded = Map<string, Issued>;

function take(subject: Subject, told: Told): Accepted {
  const head = subject.get(told.drain ?? 'd1')?.head ?? 0;
  const decision = decide(subject, entryOf(told, head + 1), DEFAULT_POLICY);
  if ('refused' in decision) throw new Error(`${told.key}: ${decision.refused}`);
  return decision;
}

/** All issues of a story in order, with the view of the drain before each. `restarts`: the books are opened anew. */
function* issuesOf(story: readonly Told[], restarts = false) {
  let subject: Subject = new Map();
  const accepted: Accepted[] = [];
  for (const told of story) {
    if (restarts) subject = reopened(accepted);
    const decision = take(subject, told);
    for (const { drain, issued, view } of decision.changes) {
      const before = subject.get(drain)?.view;
      for (const issue of issued) yield { drain, issue, view, before };
    }
    accepted.push(decision);
    enter(subject, decision, DEFAULT_POLICY);
  }
  return subject;
}

function recordOf(story: readonly Told[]): { record: Recorded; subject: Subject } {
  const record: Recorded = new Map();
  const issues = issuesOf(story);
  for (;;) {
    const next = issues.next();
    if (next.done === true) return { record, subject: next.value };
    record.set(`${next.value.drain} ${next.value.issue.key}`, next.value.issue);
  }
}

const story = ledger.chain(arrivalOf);
const linkOf = (view: DrainView | undefined) => JSON.stringify([view?.patient ?? null, view?.site ?? null]);

describe('what is issued, over generated ledgers', () => {
  it('leaves the record with exactly the facts that hold: none missed, none stale', () => {
    fc.assert(
      fc.property(story, (story) => {
        const { record, subject } = recordOf(story);
        const standing = [...record].filter(([, { status }]) => status !== 'entered-in-error');
        const recorded = new Map(standing.map(([key, { fact }]) => [key, JSON.stringify(fact)] as const));
        const held = factsHeld(subject, DEFAULT_POLICY);
        expect(Object.fromEntries(recorded)).toEqual(Object.fromEntries(held));
      }),
      { numRuns: 500 },
    );
  });

  it('numbers the versions of a fact 1, 2, 3 …; one that goes on is preliminary, then final once, then owed to a cause', () => {
    fc.assert(
      fc.property(story, (story) => {
        const record: Recorded = new Map();
        for (const { drain, issue } of issuesOf(story)) {
          const key = `${drain} ${issue.key}`;
          const last = record.get(key);
          expect(issue.version, key).toBe((last?.version ?? 0) + 1);
          const isNotYetFinal = last === undefined || last.status === 'preliminary';
          const first = issue.fact.open === true ? 'preliminary' : 'final';
          if (issue.status !== 'entered-in-error')
            expect(issue.status, key).toMatch(isNotYetFinal ? first : /^(amended|corrected)$/);
          record.set(key, issue);
        }
      }),
      { numRuns: 300 },
    );
  });

  it('issues nothing again that did not change, unless the patient or the site it stands on did', () => {
    fc.assert(
      fc.property(story, (story) => {
        const record: Recorded = new Map();
        for (const { drain, issue, view, before } of issuesOf(story)) {
          const key = `${drain} ${issue.key}`;
          const last = record.get(key);
          if (
            last !== undefined &&
            last.status !== 'entered-in-error' &&
            issue.status !== 'entered-in-error'
          ) {
            const changed = JSON.stringify(last.fact) !== JSON.stringify(issue.fact);
            expect(changed || linkOf(before) !== linkOf(view), key).toBe(true);
          }
          if (issue.status === 'entered-in-error') {
            expect(last === undefined ? 'never issued' : last.status, key).toMatch(
              /^(preliminary|final|amended|corrected)$/,
            );
          }
          record.set(key, issue);
        }
      }),
      { numRuns: 300 },
    );
  });

  it('issues the same after the books were opened anew before every entry', () => {
    fc.assert(
      fc.property(story, (story) => {
        const steady = [...issuesOf(story)].map(({ drain, issue }) => ({ drain, issue }));
        const restarted = [...issuesOf(story, true)].map(({ drain, issue }) => ({ drain, issue }));
        expect(restarted).toEqual(steady);
      }),
      { numRuns: 150 },
    );
  });
});
