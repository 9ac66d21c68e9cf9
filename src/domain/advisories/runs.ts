/** Which rules are run on what: each tube by itself, or all tubes of a patient's stay together. */
import { patientKey } from '../fold/drain.ts';
import type { Span } from '../fold/interval.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Rule } from '../vocabulary/rule.ts';
import type { Subject } from './episodes.ts';
import { NOT_OF_VOLUME, type Outcome, WITHOUT_NUMBER } from './finding.ts';
import { gate, stretchOf } from './gate.ts';
import type { Policy, RuleThroughTime } from './policy.ts';
import { readingOutcomes } from './reading-rules.ts';
import { stoppingOutcomes } from './stopping-rule.ts';
import { closingLevels, type Stay, staysOf, type Tube } from './tubes.ts';
import { clear, volumeOutcomes } from './volume-rules.ts';

interface Group {
  readonly subject: Subject;
  readonly tubes: Stay;
  /** Why the tubes at hand may not be all of the patient's; null where they are. */
  readonly mayLack: string | null;
}

/** Why a rule is not run, null where it is not meant at all; or on which drains, and when it holds. */
type Gate =
  | { readonly applies: false; readonly reason: string | null }
  | {
      readonly applies: true;
      readonly rule: Rule;
      readonly drains: readonly string[];
      readonly stretch: Span | string;
    };

interface Phase {
  readonly from: EpochMs;
  readonly to: EpochMs;
  readonly gate: Gate;
}

/** Made of what is known of the drains as a whole: the same for as long as that is. */
export interface Run {
  readonly rule: RuleThroughTime;
  readonly subject: Subject;
  readonly mayLack: string | null;
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
function groupOfStay(tubes: Stay, nameOf: Policy['nameOf']): Group {
  const [first] = tubes;
  const key = patientKey(first.view.patient);
  const lastOut = tubes.reduce((a, b) => (b.removed > a.removed ? b : a));
  const subject = {
    name: key === null ? first.drain : nameOf(`patient\n${key}`),
    drains: tubes.map(({ drain }) => drain),
    removed_at: lastOut.view.removed_at,
  };
  return { subject, tubes, mayLack: key === null ? 'patient-not-linked' : null };
}

/** @returns null where the rule was never for these tubes: then nothing is said of it */
function runOf(rule: RuleThroughTime, group: Group): Run | null {
  const { tubes, mayLack } = group;
  const phases = rule.phases.map(({ from, rule: row }, n): Phase => {
    const to = rule.phases[n + 1]?.from ?? epochMs(Infinity);
    return { from: n === 0 ? epochMs(-Infinity) : from, to, gate: gateOf(row, tubes) };
  });
  if (phases.every(({ gate: found }) => !found.applies && found.reason === null)) return null;
  const facts = tubes.map(({ drain, placed, view }) => {
    const { site, population, indication, chest_closed_at, unit_arrived_at, injured_at } = view;
    return [drain, placed, site, population, indication, chest_closed_at, unit_arrived_at, injured_at];
  });
  const home = tubes[0].drain;
  return { rule, subject: group.subject, mayLack, home, phases, basis: JSON.stringify([mayLack, facts]) };
}

function gateOf(rule: Rule | null, tubes: readonly Tube[]): Gate {
  if (rule === null) return { applies: false, reason: null };
  const gated = gate(rule, tubes);
  if (!gated.applies) return gated;
  return {
    applies: true,
    rule,
    drains: gated.tubes.map(({ drain }) => drain),
    stretch: stretchOf(rule, gated.tubes),
  };
}

/** Tubes by the name of their drain. */
export type Tubes = ReadonlyMap<string, Tube>;

export function tubesNamed(names: readonly string[], tubes: Tubes): readonly Tube[] {
  const [first = ''] = names;
  // Most rules are on one tube, and a list that is filled holds room for many.
  if (names.length > 1) return names.flatMap((name) => tubes.get(name) ?? []);
  const tube = tubes.get(first);
  return tube === undefined ? [] : [tube];
}

/** From when on a run is told. */
export interface Since {
  /** What is later than this. */
  readonly after: EpochMs;
  /** The last outcome before it; -Infinity where there is none. */
  readonly lastTold: EpochMs;
}

/** What is found, in order. */
export function outcomesAfter(run: Run, tubes: Tubes, since: Since): readonly Outcome[] {
  const [first] = run.phases;
  if (first !== undefined && run.phases.length === 1) return outcomesIn(first, run, tubes, since);
  return run.phases.flatMap((phase) => {
    if (phase.to <= since.after) return [];
    const isWithin = (at: EpochMs): boolean => at >= phase.from && at < phase.to;
    return outcomesIn(phase, run, tubes, since).filter((outcome) =>
      isWithin('finding' in outcome ? outcome.finding.at : outcome.at),
    );
  });
}

function outcomesIn({ gate: found }: Phase, run: Run, all: Tubes, since: Since): readonly Outcome[] {
  const { after } = since;
  if (!found.applies) {
    // What an earlier table had raised ends at the first level under one that no longer asks for it.
    return found.reason === null ? closingLevels(tubesNamed(run.subject.drains, all), after).map(clear) : [];
  }
  const { rule, stretch } = found;
  const tubes = tubesNamed(found.drains, all);
  switch (rule.quantity) {
    case 'volume':
    case 'rate': {
      const summed = { tubes, mayLack: run.mayLack, stretch };
      return volumeOutcomes(rule, summed, closingLevels(tubes, after), since.lastTold);
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
