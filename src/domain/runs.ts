/** Which rules are run on what: each tube by itself, or all tubes of a patient's stay together. */
import { patientKey } from './drain.ts';
import type { Subject } from './episodes.ts';
import { NOT_OF_VOLUME, type Outcome, WITHOUT_NUMBER } from './finding.ts';
import { type Gated, gate, stretchOf } from './gate.ts';
import type { Span } from './interval.ts';
import type { Policy, RuleThroughTime } from './policy.ts';
import { readingOutcomes } from './reading-rules.ts';
import type { Rule } from './rule.ts';
import { stoppingOutcomes } from './stopping-rule.ts';
import { closingLevels, staysOf, type Tube } from './tubes.ts';
import { type EpochMs, epochMs } from './units.ts';
import { clear, volumeOutcomes } from './volume-rules.ts';

interface Group {
  readonly subject: Subject;
  readonly tubes: readonly Tube[];
  /** Why the tubes at hand may not be all of the patient's; null where they are. */
  readonly mayLack: string | null;
}

interface Phase {
  readonly from: EpochMs;
  readonly to: EpochMs;
  readonly rule: Rule | null;
  readonly gated: Gated;
  readonly stretch: Span | string;
}

export interface Run extends Group {
  readonly rule: RuleThroughTime;
  /** The drain that keeps what is found. */
  readonly home: string;
  readonly phases: readonly Phase[];
  /** What the run stands on beside the charts: where this changes, all is told anew. */
  readonly basis: string;
}

export function runsOn(tubes: readonly Tube[], { rules, nameOf }: Policy): readonly Run[] {
  const single = tubes.map(groupOfOne);
  const stays = staysOf(tubes).map((stay) => groupOfStay(stay, nameOf));
  return rules.flatMap((rule) =>
    (rule.newest.basis === 'one-tube' ? single : stays).flatMap((group) => runOf(rule, group) ?? []),
  );
}

function groupOfOne(tube: Tube): Group {
  const subject = { name: tube.drain, drains: [tube.drain], removed_at: tube.view.removed_at };
  return { subject, tubes: [tube], mayLack: null };
}

/** A drain that no patient is linked to may be one of several: its sum is a lower bound. */
function groupOfStay(tubes: readonly Tube[], nameOf: Policy['nameOf']): Group {
  const [first] = tubes;
  const key = patientKey(first?.view.patient);
  const lastOut = tubes.reduce<Tube | undefined>(
    (a, b) => (a === undefined || b.removed > a.removed ? b : a),
    undefined,
  );
  const subject = {
    name: key === null ? (first?.drain ?? '') : nameOf(`patient\n${key}`),
    drains: tubes.map(({ drain }) => drain),
    removed_at: lastOut?.view.removed_at ?? null,
  };
  return { subject, tubes, mayLack: key === null ? 'patient-not-linked' : null };
}

/** @returns null where the rule was never for these tubes: then nothing is said of it */
function runOf(rule: RuleThroughTime, group: Group): Run | null {
  const { tubes, mayLack } = group;
  const phases = rule.phases.map(({ from, rule: row }, n): Phase => {
    const gated: Gated = row === null ? { applies: false, reason: null } : gate(row, tubes);
    const stretch = row === null || !gated.applies ? '' : stretchOf(row, gated.tubes);
    const to = rule.phases[n + 1]?.from ?? epochMs(Infinity);
    return { from: n === 0 ? epochMs(-Infinity) : from, to, rule: row, gated, stretch };
  });
  if (phases.every(({ gated }) => !gated.applies && gated.reason === null)) return null;
  const facts = tubes.map(({ drain, placed, view }) => {
    const { site, population, indication, chest_closed_at, unit_arrived_at, injured_at } = view;
    return [drain, placed, site, population, indication, chest_closed_at, unit_arrived_at, injured_at];
  });
  const home = tubes[0]?.drain ?? '';
  return { ...group, rule, home, phases, basis: JSON.stringify([mayLack, facts]) };
}

/** What is found later than `after`, in order; `after` is the last level told of, or -Infinity. */
export function outcomesAfter(run: Run, after: EpochMs): readonly Outcome[] {
  const [only, ...others] = run.phases;
  if (only !== undefined && others.length === 0) return outcomesIn(only, run, after);
  return run.phases.flatMap((phase) => {
    if (phase.to <= after) return [];
    const isWithin = (at: EpochMs): boolean => at >= phase.from && at < phase.to;
    return outcomesIn(phase, run, after).filter((outcome) =>
      isWithin('finding' in outcome ? outcome.finding.at : outcome.at),
    );
  });
}

function outcomesIn({ rule, gated, stretch }: Phase, run: Run, after: EpochMs): readonly Outcome[] {
  if (rule === null || !gated.applies) {
    const isOff = rule === null || (!gated.applies && gated.reason === null);
    // What an earlier table had raised ends at the first level under one that no longer asks for it.
    return isOff ? closingLevels(run.tubes, after).map(clear) : [];
  }
  const { tubes } = gated;
  switch (rule.quantity) {
    case 'volume':
    case 'rate': {
      const summed = { tubes, mayLack: run.mayLack, stretch };
      return volumeOutcomes(rule, summed, closingLevels(tubes, after), after);
    }
    case 'output-stopping':
      return tubes.flatMap((tube) => stoppingOutcomes(rule, tube, closingLevels([tube], after)));
    case 'unexplained-fall':
      return tubes.flatMap((tube) => fallsIn(tube, after));
    default:
      return tubes.flatMap((tube) => readingOutcomes(rule, tube, after));
  }
}

/** Levels that fell by more than one graduation with no entry to explain it; the levels are in the entries named. */
function fallsIn({ state }: Tube, after: EpochMs): readonly Outcome[] {
  const falls: Outcome[] = [];
  for (let node = state.intervals; node !== null && node.item.interval.to.at > after; node = node.before) {
    const { from, to, reason } = node.item.interval;
    if (reason !== 'unexplained-fall') continue;
    const { at, at_text } = to;
    const finding = { at, at_text, ...NOT_OF_VOLUME, ...WITHOUT_NUMBER, entries: [from.id, to.id] };
    falls.push({ state: 'single', finding });
  }
  return falls.reverse();
}
