/**
 * What was measured of a drain beside the figures that a published policy names for taking it out, criterion by criterion.
 * Evidence for review: whether a drain comes out is decided by a clinician, with imaging, which no entry shows.
 */
import { type Chart, newestAt, rowsFrom, stateOf } from '../fold/chart.ts';
import type { Circumstances } from '../fold/circumstances.ts';
import { underConditions } from '../fold/conditions.ts';
import type { DrainView } from '../fold/drain.ts';
import { epochMs } from '../numbers/units.ts';
import {
  type FlowCriterion,
  type FluidCriterion,
  flowCriterion,
  fluidCriterion,
  type LeakCriterion,
  leakCriterion,
} from './removal-conditions.ts';
import type { RemovalPolicy } from './removal-policies.ts';
import { type VolumeCriterion, volumeCriterion } from './removal-volume.ts';

/** What no policy is complete without and no entry shows. */
const OUTSTANDING = ['imaging', 'clinician'] as const;

/** How the drain stands to whom the policy was published for. */
export interface Scope {
  readonly about: 'population' | 'indication' | 'site';
  readonly policy: readonly string[];
  readonly drain: string | null;
  readonly status: 'same' | 'differs' | 'not-stated';
}

export type Criterion = VolumeCriterion | LeakCriterion | FlowCriterion | FluidCriterion;

export interface RemovalEvidence {
  readonly policy: RemovalPolicy;
  readonly scope: readonly Scope[];
  /** Empty where the drain differs from the policy's scope, or its population is not stated: figures for others say nothing of it. */
  readonly criteria: readonly Criterion[];
  readonly outstanding: typeof OUTSTANDING;
}

export function removalEvidence(
  policy: RemovalPolicy,
  chart: Chart,
  view: DrainView,
  circumstances: Circumstances,
): RemovalEvidence {
  const scope = [
    scopeOf('population', [policy.population], view.population ?? null),
    scopeOf('indication', [policy.indication], view.indication ?? null),
    scopeOf('site', policy.sites, view.site),
  ];
  const isOutside = view.population === undefined || scope.some(({ status }) => status === 'differs');
  const criteria = isOutside ? [] : criteriaOf(policy, chart, view, circumstances);
  return { policy, scope, criteria, outstanding: OUTSTANDING };
}

function criteriaOf(
  { volume, air_leak, fluid }: RemovalPolicy,
  chart: Chart,
  { site }: DrainView,
  circumstances: Circumstances,
): readonly Criterion[] {
  const rows = rowsFrom(chart, epochMs(-Infinity));
  const under = underConditions(rows);
  const now = under.at(-1)?.row.item.at ?? newestAt(chart) ?? epochMs(0);
  return [
    ...(volume === null ? [] : [volumeCriterion(volume, stateOf(chart), rows, circumstances, now)]),
    air_leak === 'none'
      ? leakCriterion(under, site, now)
      : flowCriterion(air_leak, under, site, now, circumstances.settings),
    ...(fluid === null ? [] : [fluidCriterion(fluid, under, now)]),
  ];
}

function scopeOf(about: Scope['about'], policy: readonly string[], drain: string | null): Scope {
  const status = drain === null ? 'not-stated' : policy.includes(drain) ? 'same' : 'differs';
  return { about, policy, drain, status };
}
