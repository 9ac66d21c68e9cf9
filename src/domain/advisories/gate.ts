/** Which of the drains at hand a rule is for. */

import { newestWhere } from '../numbers/history.ts';
import { parseInstant } from '../numbers/instant.ts';
import { type EpochMs, epochMs, HOUR_MS } from '../numbers/units.ts';
import type { Population } from '../vocabulary/entry.ts';
import type { ClockOrigin, Rule, RuleGate } from '../vocabulary/rule.ts';
import type { Tube } from './tubes.ts';

export type Gated =
  | { readonly applies: true; readonly tubes: readonly Tube[] }
  | { readonly applies: false; readonly reason: string | null };

/** Does not apply: an adult rule never runs on a child, nor the reverse. Nothing is listed then. */
const NOT_FOR_THESE: Gated = { applies: false, reason: null };

/**
 * @param tubes one drain, or those of a patient's stay; what is stated with one of them holds for the patient
 * @returns the drains that are summed, or why the rule cannot be assessed, or that it does not apply
 */
export function gate(rule: RuleGate, tubes: readonly Tube[]): Gated {
  const { populations, indications, sites } = rule;
  const at =
    sites === null ? tubes : tubes.filter(({ view: { site } }) => site !== null && sites.includes(site));
  const known = at.filter(({ view }) => view.indication !== undefined);
  const meant = known.filter(
    ({ view }) => view.indication !== undefined && indications?.includes(view.indication) === true,
  );
  if (at.length === 0) return NOT_FOR_THESE;
  const stated = populationsOf(tubes);
  if (populations !== null && stated.length > 0 && !stated.some((each) => populations.includes(each)))
    return NOT_FOR_THESE;
  if (indications !== null && meant.length === 0 && known.length === at.length) return NOT_FOR_THESE;

  if (populations !== null && stated.length === 0) return missing('population-not-stated');
  if (populations !== null && stated.length > 1) return missing('population-differs');
  if (indications !== null && meant.length === 0) return missing('indication-not-stated');
  return { applies: true, tubes: indications === null ? at : at.filter((tube) => isMeant(tube, rule)) };
}

const missing = (reason: string): Gated => ({ applies: false, reason });

const isMeant = ({ view: { indication } }: Tube, { indications }: RuleGate): boolean =>
  indication === undefined || indications === null || indications.includes(indication);

export function populationsOf(tubes: readonly Tube[]): readonly Population[] {
  return [...new Set(tubes.flatMap(({ view }) => view.population ?? []))];
}

/** The stretch in which a rule holds, or why it is not known. */
export function stretchOf(
  { clock }: Pick<Rule, 'clock'>,
  tubes: readonly Tube[],
): { readonly from: EpochMs; readonly to: EpochMs } | string {
  if (clock.origin === 'none') return { from: epochMs(-Infinity), to: epochMs(Infinity) };
  const [origin, ...others] = originsOf(clock.origin, tubes);
  if (origin === undefined) return `${clock.origin}-not-stated`;
  if (others.length > 0) return `${clock.origin}-differs`;
  return {
    from: epochMs(origin + clock.from_h * HOUR_MS),
    to: epochMs(clock.to_h === null ? Infinity : origin + clock.to_h * HOUR_MS),
  };
}

const FIELD = {
  'chest-closure': 'chest_closed_at',
  'unit-arrival': 'unit_arrived_at',
  injury: 'injured_at',
} as const;

function originsOf(origin: Exclude<ClockOrigin, 'none'>, tubes: readonly Tube[]): readonly EpochMs[] {
  if (origin === 'placement') return [epochMs(Math.min(...tubes.map(({ placed }) => placed)))];
  const texts = tubes.flatMap(({ view }) => view[FIELD[origin]] ?? []);
  return [...new Set(texts.flatMap((text) => parseInstant(text)?.ms ?? []))];
}

/** Whether what drains is of a character the rule is for, as last charted at or before a moment. */
export function fluidAt({ fluids }: RuleGate, tubes: readonly Tube[], at: EpochMs): boolean | null {
  if (fluids === null) return true;
  const seen = tubes.flatMap(({ state }) => newestWhere(state.fluids, (fluid) => fluid.at <= at)?.item ?? []);
  return seen.length === 0 ? null : seen.some(({ character }) => fluids.includes(character));
}
