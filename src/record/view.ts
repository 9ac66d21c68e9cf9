/** The native wire form of what is derived: numbers in the unit that ends their name, or null with a reason. */

import type { StandingNegativity } from '../domain/assessment/standing-negativity.ts';
import type { Interval } from '../domain/fold/interval.ts';
import { netOf } from '../domain/fold/interval.ts';
import type { Negativity } from '../domain/fold/negativity.ts';
import type { Rate } from '../domain/fold/rate.ts';
import { type Cumulative, completenessOf, type Row, type Volumes } from '../domain/fold/row.ts';
import { coveredThousandths } from '../domain/fold/span.ts';
import { isLowConfidence } from '../domain/fold/uncertainty.ts';
import type { Window } from '../domain/fold/windows.ts';
import { approximately } from '../domain/numbers/rational.ts';
import { HOUR_MS } from '../domain/numbers/units.ts';
import type { Content } from '../domain/vocabulary/entry.ts';
import { ml, mlOf, rounded, toDecimals, uncertaintyMl } from './figures.ts';

/** A row with what was charted, digits aside (the entries keep those). */
export function chartRowView(row: Row) {
  const { content, author, correction } = row.item;
  return { ...rowView(row), ...chartedView(content), author, correction };
}

/** What a statement says, beside its kind and its time. */
export function chartedView(content: Content) {
  const { effective_at: _at, kind: _kind, note = null, ...charted } = content;
  const {
    unit_profile: _profile,
    received: _received,
    ...said
  } = {
    unit_profile: null,
    received: null,
    ...charted,
  };
  return { charted: said, note };
}

/** A row as a receipt carries it: its sender knows what it charted. */
export function rowView(row: Row) {
  const { item, marks, counted, leftOut, volumes, negativity } = row;
  return {
    entry: item.id,
    identifier: item.identifier,
    kind: item.content.kind,
    effective_at: item.content.effective_at,
    marks,
    counted,
    left_out: leftOut,
    ...(volumes === null ? {} : volumesView(volumes)),
    ...(negativity === null ? {} : { total_negativity: negativityView(negativity) }),
  };
}

function volumesView(volumes: Volumes) {
  return {
    interval: intervalView(volumes.interval, volumes.rate, volumes.uncertainty.interval),
    since_reading: intervalView(
      volumes.since_reading,
      volumes.since_reading_rate,
      volumes.uncertainty.since_reading,
    ),
    cumulative: cumulativeView(volumes.cumulative, volumes.uncertainty.cumulative),
    windows: volumes.windows.map(windowView),
  };
}

function intervalView(interval: Interval, rate: Rate, uncertainty: number | null) {
  return {
    from: interval.from.at_text,
    to: interval.to.at_text,
    status: interval.status,
    reason: interval.reason,
    suspect: interval.suspect,
    net_ml: ml(netOf(interval)),
    uncertainty_ml: uncertaintyMl(uncertainty),
    low_confidence: isLowConfidence(netOf(interval), uncertainty),
    drained_ml: ml(interval.drained),
    sampled_ml: ml(interval.sampled),
    instilled_ml: ml(interval.instilled),
    ...rateView(rate),
  };
}

function rateView(rate: Rate) {
  if (rate.value === null) return { rate_ml_h: null, rate_reason: rate.reason };
  const { open, per_kg } = rate;
  return {
    rate_ml_h: rounded(rate.value, 1),
    rate_uncertainty_ml_h: toDecimals(rate.uncertainty, 1),
    ...(open.value === null
      ? { open_time_rate_ml_h: null, open_time_rate_reason: open.reason }
      : { open_time_rate_ml_h: rounded(open.value, 1) }),
    ...(per_kg.value === null
      ? { rate_ml_kg_h: null, rate_ml_kg_h_reason: per_kg.reason }
      : {
          rate_ml_kg_h: rounded(per_kg.value, 2),
          rate_uncertainty_ml_kg_h: toDecimals(per_kg.uncertainty, 2),
          weight_kg: per_kg.weight.weight / 1000,
        }),
  };
}

function cumulativeView(sum: Cumulative, uncertainty: number | null) {
  const kind = completenessOf(sum);
  return {
    from: sum.from_text,
    net_ml: kind === 'measured-part' ? null : ml(sum.net),
    at_least: kind === 'at-least',
    uncertainty_ml: uncertaintyMl(uncertainty),
    sum_of_measured_intervals_ml: ml(sum.net),
    drained_ml: ml(sum.drained),
    sampled_ml: ml(sum.sampled),
    instilled_ml: ml(sum.instilled),
    in_doubt_ml: ml(sum.suspect),
    reasons: sum.reasons,
  };
}

function windowView(window: Window) {
  const covered = window.covered_ms === window.hours * HOUR_MS;
  return {
    hours: window.hours,
    from: window.from_text,
    to: window.to_text,
    net_ml: mlOf(window.net),
    at_least: !covered,
    uncertainty_ml: uncertaintyMl(window.uncertainty),
    low_confidence: isLowConfidence(approximately(window.net), window.uncertainty),
    drained_ml: mlOf(window.drained),
    sampled_ml: ml(window.sampled),
    instilled_ml: ml(window.instilled),
    net_low_ml: ml(window.net_low),
    net_high_ml: ml(window.net_high),
    coverage: coveredThousandths(window.covered_ms, window.hours * HOUR_MS) / 1000,
    interpolated: window.interpolated,
  };
}

/** With when it was read or, where that stands no more, when it was changed. */
export function standingNegativityView({ read, overtaken }: StandingNegativity) {
  const { effective_at: at } = (overtaken?.by ?? read).item.content;
  if (overtaken === null) return { at, ...rowView(read).total_negativity };
  return { at, value_cmh2o: null, low_cmh2o: null, high_cmh2o: null, reason: overtaken.reason };
}

function negativityView(negativity: Negativity) {
  if (negativity.value !== null) return { value_cmh2o: negativity.value / 1000 };
  const { low, high, reason } = negativity;
  return { value_cmh2o: null, low_cmh2o: ml(low), high_cmh2o: ml(high), reason };
}
