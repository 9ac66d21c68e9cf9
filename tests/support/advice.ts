/** Short hand for asking what rules find in a story told in tests. */

import type { Episode } from '../../src/domain/advisories/episodes.ts';
import { type Advised, advise } from '../../src/domain/book/advise.ts';
import { approximately } from '../../src/domain/numbers/rational.ts';
import type { Rule, RuleTable } from '../../src/domain/vocabulary/rule.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { at, dec, onDrain, placed, setUp, type Told, tell, WET_UNIT } from './drain-script.ts';
import { policyOf } from './policy.ts';

export const PATIENT = { patient: { reference: 'Patient/1' } };
export const TRAUMA = { indication: 'trauma' };
export const HEART = { indication: 'cardiac-surgery', chest_closed_at: at('08:00') };

/** The default table with every row on. */
const ALL_ON: RuleTable = {
  ...DEFAULT_TABLE,
  rules: DEFAULT_TABLE.rules.map((rule) => ({ ...rule, on: true })),
};

export function adviceOn(story: readonly Told[], table: RuleTable = ALL_ON): Advised {
  const policy = { ...policyOf(table), nameOf: (text: string) => text.replace('patient\nPatient/', 'p') };
  const { subject } = tell(story, new Map(), policy);
  return advise([...subject.values()], policy.rules);
}

export const tableOf = (...rules: readonly Rule[]): RuleTable => ({ ...DEFAULT_TABLE, rules });

export function ruleCalled(id: string): Rule {
  const rule = DEFAULT_TABLE.rules.find((each) => each.id === id);
  if (rule === undefined) throw new Error(`no rule ${id}`);
  return rule;
}

/** Episodes of a rule, in short. */
export const episodesIn = (story: readonly Told[], rule: string, table: RuleTable = ALL_ON) =>
  adviceOn(story, table).episodes.filter((each) => each.rule.id === rule);

/** Whether a rule is crossed by its operator at its first finding; null where it finds nothing. */
export function crossedIn(story: readonly Told[], rule: string): boolean | null {
  return episodesIn(story, rule)[0]?.peak.crossed ?? null;
}

export const reasonsIn = (story: readonly Told[], rule: string): string[] =>
  adviceOn(story)
    .not_assessable.filter((each) => each.rule.id === rule)
    .map(({ reason }) => reason);

export const raisedValue = ({ raised }: Episode): number | null =>
  raised.value === null ? null : approximately(raised.value);

const hourText = (hour: number): string =>
  `+${Math.floor(hour / 24)} ${String(hour % 24).padStart(2, '0')}:00`;

/** Hourly volumes from 08:00, read at each hour, on a unit so finely marked that reading error decides nothing. */
export function hourly(volumes: readonly number[], facts: object, more: readonly Told[] = []): Told[] {
  let level = 0;
  const readings = volumes.map((volume, n): Told => {
    level += volume;
    return {
      key: `h${n + 1}`,
      time: hourText(9 + n),
      says: { kind: 'reading', level_ml: dec(level.toFixed(3)) },
    };
  });
  return [
    placed('08:00', { patient: { reference: 'Patient/1' }, ...facts }),
    setUp('08:00', 0, FINE_UNIT),
    ...more,
    ...readings,
  ];
}

/** Room for any series, and marks so fine that uncertainty decides nothing. */
export const FINE_UNIT = {
  ...WET_UNIT,
  capacity_ml: dec(90_000),
  graduations: [{ up_to_ml: dec(90_000), mark_ml: dec('0.001') }],
};

export const asDrain = (drain: string, story: readonly Told[]): Told[] =>
  story.map((told) => onDrain(drain, { ...told, key: `${drain}-${told.key}` }));
