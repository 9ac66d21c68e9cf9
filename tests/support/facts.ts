/** All facts that hold of some books, worked out anew from their charts: what the record should be left with. */

import type { Policy } from '../../src/domain/advisories/policy.ts';
import { tubeOf } from '../../src/domain/advisories/tubes.ts';
import { NOTHING_WATCHED, watched } from '../../src/domain/advisories/watch.ts';
import type { Subject } from '../../src/domain/book/book.ts';
import { advisoryFact } from '../../src/domain/facts/advisory-facts.ts';
import { type DrainSide, patientWindowFacts, windowFacts } from '../../src/domain/facts/calendar-facts.ts';
import { factKey, factsOf } from '../../src/domain/facts/issue.ts';
import { newestAt, rowsFrom } from '../../src/domain/fold/chart.ts';
import { patientKey } from '../../src/domain/fold/drain.ts';
import { epochMs, HOUR_MS } from '../../src/domain/numbers/units.ts';
import type { Fact } from '../../src/domain/vocabulary/fact.ts';

const EVER = epochMs(-Infinity);

/** By drain and key, as JSON. */
export function factsHeld(subject: Subject, policy: Policy): Map<string, string> {
  const held = new Map<string, string>();
  const hold = (drain: string, facts: readonly Fact[]): void => {
    for (const fact of facts) {
      const key = `${drain} ${factKey(fact)}`;
      if (held.has(key)) throw new Error(`two facts ${key}`);
      held.set(key, JSON.stringify(fact));
    }
  };
  const books = [...subject.values()];
  for (const { drain, chart } of books) hold(drain, rowsFrom(chart, EVER).flatMap(factsOf));
  const tubes = books.flatMap((book) => tubeOf(book) ?? []);
  const anew = books.map((book) => ({ ...book, since: EVER, watch: NOTHING_WATCHED }));
  for (const [home, { after }] of watched(anew, policy)) {
    const context = { home, tubes, nameOf: policy.nameOf };
    hold(
      home,
      after.map((episode) => advisoryFact(episode, context)),
    );
  }
  const sides = books.filter(({ view }) => view.placedMs !== null);
  for (const side of sides) hold(side.drain, windowFacts(side, everyWindow([side], policy), policy));
  for (const group of patients(sides)) {
    hold(group[0]?.drain ?? '', patientWindowFacts(group, everyWindow(group, policy), policy));
  }
  return held;
}

/** All windows from the first placement to an hour after the last entry. */
function everyWindow(sides: readonly DrainSide[], policy: Policy) {
  const from = Math.min(...sides.map(({ view }) => view.placedMs ?? 0));
  const to = Math.max(...sides.map(({ chart }) => newestAt(chart) ?? 0)) + HOUR_MS;
  return policy.windowsOver({ from: epochMs(from), to: epochMs(to) });
}

/** Drains of each patient, the first placed first. */
function patients(sides: readonly DrainSide[]): readonly (readonly DrainSide[])[] {
  const ordered = [...sides].sort(
    (a, b) => (a.view.placedMs ?? 0) - (b.view.placedMs ?? 0) || (a.drain < b.drain ? -1 : 1),
  );
  const keys = new Set(ordered.flatMap(({ view }) => patientKey(view.patient) ?? []));
  return [...keys].map((key) => ordered.filter(({ view }) => patientKey(view.patient) === key));
}
