/**
 * An advisory as a fact for the record: raised, ended, reviewed, withdrawn. What it comes to while it stands (newest,
 * peak) is shown by the service and not issued: each level would be a version.
 */

import type { Episode } from '../advisories/episodes.ts';
import type { Finding } from '../advisories/finding.ts';
import type { Tube } from '../advisories/tubes.ts';
import { encounterAt, rowsAt } from '../fold/chart.ts';
import type { Row } from '../fold/row.ts';
import { digitsBeside, RULE_DECIMALS } from '../fold/shown.ts';
import { newestWhere } from '../numbers/history.ts';
import { thousandthsText } from '../numbers/units.ts';
import type { Fact, FactRef, Flag } from '../vocabulary/fact.ts';
import type { Rule } from '../vocabulary/rule.ts';

export interface AdvisoryContext {
  /** The drain that the fact is kept with. */
  readonly home: string;
  readonly tubes: readonly Tube[];
  nameOf(text: string): string;
}

export function advisoryFact(episode: Episode, { home, tubes, nameOf }: AdvisoryContext): Fact {
  const { rule, drains, raised, ended_at, reviews } = episode;
  const own = tubes.find(({ drain }) => drain === home);
  const rows = own === undefined ? [] : rowsAt(own.chart, raised.at);
  return {
    name: 'advisory',
    anchor: nameOf(`advisory\n${rule.id}\n${raised.at}`),
    effective: ended_at === null ? { from: raised.at_text } : { from: raised.at_text, to: ended_at },
    ...(ended_at === null ? { open: true } : {}),
    value: { rule: rule.id, title: rule.title },
    components: componentsOf(rule, raised),
    flags: flagsOf(raised, reviews.length > 0),
    derived_from: derivedFrom(
      rule,
      raised,
      rows,
      tubes.filter(({ drain }) => drains.includes(drain)),
    ),
    members: [],
    author: null,
    encounter: encounterAt(own?.chart, raised.at),
    note: noteOf(rule),
  };
}

function componentsOf(rule: Rule, finding: Finding): Fact['components'] {
  const { value, net, uncertainty, instilled, weight } = finding;
  if (value === null) return [];
  const { unit } = rule;
  return [
    { name: 'rule-value', quantity: digitsBeside(value, rule), unit },
    { name: 'rule-threshold', quantity: rule.threshold.text, unit },
    ...(net === null ? [] : [{ name: 'rule-net', quantity: digitsBeside(net, rule), unit } as const]),
    ...(uncertainty === null
      ? []
      : [{ name: 'rule-uncertainty', quantity: uncertainty.toFixed(RULE_DECIMALS[unit]), unit } as const]),
    ...(instilled === null ? [] : [{ name: 'instilled', quantity: thousandthsText(instilled) } as const]),
    ...(weight === null ? [] : [{ name: 'weight-used', quantity: thousandthsText(weight.weight) } as const]),
  ];
}

function flagsOf({ within_uncertainty, at_least, by }: Finding, isReviewed: boolean): readonly Flag[] {
  const flags: Flag[] = [];
  if (within_uncertainty) flags.push('within-uncertainty');
  if (at_least) flags.push('lower-bound');
  if (by === 'gross-only') flags.push('drained-and-sampled-only');
  if (isReviewed) flags.push('reviewed');
  return flags;
}

/** The newest net drainage of each tube for a rule on volumes, else the reading that shows it. */
function derivedFrom(
  { quantity }: Rule,
  { at, entries }: Finding,
  rows: readonly Row[],
  tubes: readonly Tube[],
): readonly FactRef[] {
  if (entries !== null && quantity !== 'unexplained-fall') {
    const shown = rows.find(({ item }) => entries.includes(item.id) && item.content.kind === 'reading');
    return shown === undefined ? [] : [{ name: 'reading', anchor: shown.item.id }];
  }
  const ordered = [...tubes].sort((a, b) => (a.drain < b.drain ? -1 : 1));
  return ordered.flatMap(({ drain, state }) => {
    const ended = newestWhere(state.intervals, ({ interval }) => interval.to.at <= at);
    return ended === null ? [] : [{ name: 'net-drainage', anchor: ended.item.interval.to.id, drain }];
  });
}

function noteOf({ operator, threshold, unit, quantity, source, evidence }: Rule): string {
  const limit =
    quantity === 'unexplained-fall' || quantity === 'swing-lost'
      ? ''
      : ` (${operator} ${threshold.text} ${unit})`;
  return `For review by a clinician${limit}; not an alarm. Source: ${source} [${evidence}].`;
}
