import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import type { Subject } from '../../src/domain/book.ts';
import { type Accepted, decide, enter } from '../../src/domain/decide.ts';
import type { DrainView } from '../../src/domain/drain.ts';
import { factKey, factsOf, type Issued } from '../../src/domain/issue.ts';
import { DEFAULT_SETTINGS } from '../../src/domain/settings.ts';
import { entryOf, reopened, rowsIn, type Told } from '../support/drain-script.ts';
import { arrivalOf, ledger } from '../support/ledgers.ts';

// A failure needs time to shrink to its smallest form.
vi.setConfig({ testTimeout: 120_000 });

/** What a record that takes every issue as it comes holds in the end: the latest of each fact, by drain and key. */
type Recorded = Map<string, Issued>;

function take(subject: Subject, told: Told): Accepted {
  const head = subject.get(told.drain ?? 'd1')?.head ?? 0;
  const decision = decide(subject, entryOf(told, head + 1), DEFAULT_SETTINGS);
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
    enter(subject, decision, DEFAULT_SETTINGS);
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

/** The facts that hold at the end, by drain and key, worked out from the rows alone. */
function factsIn(subject: Subject): Map<string, string> {
  const facts = ['d1', 'd2'].flatMap((drain) =>
    rowsIn(subject, drain)
      .flatMap(factsOf)
      .map((fact) => [`${drain} ${factKey(fact)}`, JSON.stringify(fact)] as const),
  );
  expect(new Set(facts.map(([key]) => key)).size).toBe(facts.length);
  return new Map(facts);
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
        const held = factsIn(subject);
        expect(Object.fromEntries(recorded)).toEqual(Object.fromEntries(held));
      }),
      { numRuns: 500 },
    );
  });

  it('numbers the versions of a fact 1, 2, 3 …, the first is final and no later one is', () => {
    fc.assert(
      fc.property(story, (story) => {
        const versions = new Map<string, number>();
        for (const { drain, issue } of issuesOf(story)) {
          const key = `${drain} ${issue.key}`;
          expect(issue.version, key).toBe((versions.get(key) ?? 0) + 1);
          expect(issue.status === 'final', key).toBe(issue.version === 1);
          versions.set(key, issue.version);
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
              /^(final|amended|corrected)$/,
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
