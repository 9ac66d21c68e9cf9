/** What local policy has in force: how values are derived, which rules are run, and how its calendar cuts time. */

import type { Span } from '../fold/interval.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../numbers/units.ts';
import type { CalendarKind } from '../vocabulary/fact.ts';
import type { Rule, RuleTable } from '../vocabulary/rule.ts';
import type { Settings } from '../vocabulary/settings.ts';

/** A clock hour, shift or fluid-balance day of a zone, as moments. */
export interface CalendarSpan extends Span {
  readonly kind: CalendarKind;
  /** IANA name. */
  readonly zone: string;
}

/** A rule table, and from when on it holds; the first holds for all time before it as well. */
export interface RulesInForce {
  readonly from: EpochMs;
  readonly rules: RuleTable;
}

/** One rule through all tables: null where a table has it switched off or lacks it. */
export interface RuleThroughTime {
  readonly id: string;
  /** The row as it is now, else as it last was. */
  readonly newest: Rule;
  readonly phases: readonly { readonly from: EpochMs; readonly rule: Rule | null }[];
}

export interface Policy {
  readonly settings: Settings;
  readonly rules: readonly RuleThroughTime[];
  /** The windows that hold a moment of a span, both its ends included, in order of kind, then time. */
  windowsOver(over: Span): readonly CalendarSpan[];
  /** A short stable name for a text, fit for an id. */
  nameOf(text: string): string;
}

/** @param versions in order of time, at least one */
export function rulesThroughTime(versions: readonly RulesInForce[]): readonly RuleThroughTime[] {
  const ids = new Set(versions.toReversed().flatMap(({ rules: { rules } }) => rules.map(({ id }) => id)));
  return [...ids].flatMap((id) => {
    const rows = versions.map(({ from, rules }) => ({ from, row: rules.rules.find((row) => row.id === id) }));
    const newest = rows.findLast(({ row }) => row !== undefined)?.row;
    if (newest === undefined || rows.every(({ row }) => row?.on !== true)) return [];
    const phases = rows.map(({ from, row }) => ({ from, rule: row?.on === true ? row : null }));
    return { id, newest, phases };
  });
}

/** The phase that holds at a moment: the newest that has begun, before all of them the first. */
export function phaseAt<T extends { readonly from: EpochMs }>(phases: readonly T[], at: EpochMs): T {
  const [first] = phases;
  const phase = phases.findLast(({ from }) => from <= at) ?? first;
  if (phase === undefined) throw new RangeError('nothing was ever in force');
  return phase;
}

/** A day by clock hours begins up to an hour earlier than the day, which may last 25 h. */
const A_DAY_H = 26;

/** How far back from a level the windows, days and rules in force look, ms. */
export function reachOf({ settings, rules }: Policy): number {
  const ofRules = rules.flatMap(({ phases }) =>
    phases.map(({ rule }) => (rule === null ? 0 : hoursOf(rule))),
  );
  return Math.max(A_DAY_H, ...settings.trailing_hours, ...ofRules) * HOUR_MS;
}

function hoursOf(rule: Rule): number {
  if ('steady_h' in rule) return rule.window_h + rule.steady_h;
  if ('window_h' in rule) return rule.window_h;
  return 'consecutive_h' in rule ? rule.consecutive_h : 0;
}

export const ALWAYS: EpochMs = epochMs(-Infinity);
