/** The wire form of removal evidence: rounded once, here, half to even. */
import type { Book } from '../domain/book/book.ts';
import { type Rational, rational, roundHalfEven } from '../domain/numbers/rational.ts';
import { type EpochMs, HOUR_MS } from '../domain/numbers/units.ts';
import { type Criterion, removalEvidence } from '../domain/removal/removal.ts';
import type { FlowCriterion } from '../domain/removal/removal-conditions.ts';
import type { RemovalPolicy } from '../domain/removal/removal-policies.ts';
import type { VolumeCriterion, VolumesCompared } from '../domain/removal/removal-volume.ts';
import { chartAsOf } from './chart-view.ts';
import { mlOf } from './figures.ts';
import { ALGORITHM } from './receipt.ts';

export function removalViewOf(book: Book, policy: RemovalPolicy, asOf: EpochMs | null) {
  const { view, circumstances } = book;
  const evidence = removalEvidence(policy, chartAsOf(book, asOf), view, circumstances);
  return {
    drain: book.drain,
    derivation: { algorithm: ALGORITHM, settings: circumstances.settings.version },
    policy,
    scope: evidence.scope,
    criteria: evidence.criteria.map(criterionView),
    outstanding: evidence.outstanding,
  };
}

function criterionView(found: Criterion) {
  switch (found.criterion) {
    case 'volume':
      return volumeView(found);
    case 'air-flow':
      return flowView(found);
    case 'air-leak':
    case 'fluid':
      return found;
  }
}

function volumeView({ compared, ...found }: VolumeCriterion) {
  return {
    ...found,
    ...(compared === null ? { net: null, drained_and_sampled: null } : comparedView(compared)),
  };
}

function comparedView({ window, sum, drained_and_sampled, weight, at_least }: VolumesCompared) {
  const figureOf = ({ numerator, denominator }: Rational) => ({
    value:
      weight === null
        ? mlOf({ numerator, denominator })
        : Number(roundHalfEven({ numerator, denominator: denominator * BigInt(weight.weight) }, 2)),
    uncertainty: uncertaintyOf(sum.uncertainty, weight?.weight ?? null),
  });
  return {
    from: new Date(window.from).toISOString(),
    to: new Date(window.to).toISOString(),
    net: figureOf(sum.net),
    drained_and_sampled: figureOf(drained_and_sampled),
    instilled_ml: sum.instilled / 1000,
    at_least,
    interpolated: sum.interpolated,
    ...(weight === null ? {} : { weight_kg: weight.weight / 1000 }),
  };
}

/** µL as mL, or µL over g as mL/kg. */
function uncertaintyOf(microlitres: number | null, weight: number | null): number | null {
  if (microlitres === null) return null;
  return Number(weight === null ? (microlitres / 1000).toFixed(1) : (microlitres / weight).toFixed(2));
}

function flowView({ flow, below_ms, ...found }: FlowCriterion) {
  return {
    ...found,
    flow_ml_min: flow === null ? null : flow / 1000,
    below_for_h: below_ms === null ? null : Number(roundHalfEven(rational(below_ms, HOUR_MS), 1)),
  };
}
