/** What an export must say of a row of the chart: each value that the chart route answers, with all that qualifies it. */
import type { rowView } from '../../src/record/view.ts';

type View = ReturnType<typeof rowView>;
type Volumes = Required<Pick<View, 'interval' | 'since_reading' | 'cumulative' | 'windows'>>;
type Interval = Volumes['interval'];
type Unit = 'mL' | 'mL/h' | 'mL/kg/h' | 'cm[H2O]';

interface DerivedValue {
  readonly quantity: string;
  /** Null: it cannot be known; `reasons` says why. */
  readonly value: number | null;
  /** UCUM. */
  readonly unit: Unit;
  /** Expanded (k = 2), in the same unit: reading error only. */
  readonly uncertainty?: number | null | undefined;
  readonly low?: number | null;
  readonly high?: number | null;
  readonly atLeast?: boolean;
  /** Part of the time that levels cover, 0 to 1. */
  readonly coverage?: number;
  /** RFC 3339 as charted; left out of what holds at a moment. */
  readonly from?: string;
  readonly to?: string;
  readonly reasons: readonly string[];
  readonly remarks?: readonly string[];
}

/** @param view as the chart route answers it */
export function derivedValues(view: View): readonly DerivedValue[] {
  const { interval, since_reading, cumulative, windows, total_negativity } = view;
  return [
    ...(interval === undefined ? [] : ofInterval('interval', interval)),
    ...(since_reading === undefined ? [] : ofInterval('since_reading', since_reading)),
    ...(cumulative === undefined ? [] : ofCumulative(cumulative, view.effective_at)),
    ...(windows ?? []).flatMap(ofWindow),
    ...(total_negativity === undefined ? [] : [ofNegativity(total_negativity)]),
  ];
}

function ofInterval(name: string, interval: Interval): readonly DerivedValue[] {
  const { from, to, reason, suspect, low_confidence } = interval;
  const reasons = reason === null ? [] : [reason];
  const atLeast = interval.status === 'at-least';
  const remarks = [...(suspect ? ['suspect'] : []), ...(low_confidence ? ['low_confidence'] : [])];
  const volume = (part: string, value: number | null): DerivedValue => ({
    quantity: `${name}_${part}`,
    value,
    unit: 'mL',
    from,
    to,
    reasons: [],
    remarks,
  });
  return [
    { ...volume('net', interval.net_ml), uncertainty: interval.uncertainty_ml, atLeast, reasons },
    { ...volume('drained', interval.drained_ml), atLeast, reasons },
    volume('sampled', interval.sampled_ml),
    volume('instilled', interval.instilled_ml),
    ...ratesOf(interval).map((rate) => ({
      ...rate,
      quantity: `${name}_${rate.quantity}`,
      from,
      to,
      remarks,
    })),
  ];
}

function ratesOf(interval: Interval): readonly DerivedValue[] {
  if (interval.rate_ml_h === null)
    return [{ quantity: 'rate', value: null, unit: 'mL/h', reasons: [interval.rate_reason] }];
  return [
    {
      quantity: 'rate',
      value: interval.rate_ml_h,
      unit: 'mL/h',
      uncertainty: interval.rate_uncertainty_ml_h,
      reasons: [],
    },
    {
      quantity: 'open_time_rate',
      value: interval.open_time_rate_ml_h,
      unit: 'mL/h',
      reasons: 'open_time_rate_reason' in interval ? [interval.open_time_rate_reason] : [],
    },
    {
      quantity: 'rate_per_kg',
      value: interval.rate_ml_kg_h,
      unit: 'mL/kg/h',
      uncertainty: 'rate_uncertainty_ml_kg_h' in interval ? interval.rate_uncertainty_ml_kg_h : null,
      reasons: 'rate_ml_kg_h_reason' in interval ? [interval.rate_ml_kg_h_reason] : [],
    },
  ];
}

/** The sums of what was measured stand beside the total, which is absent while something of it is not known. */
function ofCumulative(sum: Volumes['cumulative'], to: string): readonly DerivedValue[] {
  const { from, reasons, at_least: atLeast } = sum;
  const shared = { unit: 'mL', from, to, reasons } as const;
  const measured = (part: string, value: number | null): DerivedValue => ({
    ...shared,
    quantity: `measured_${part}`,
    value,
  });
  return [
    { ...shared, quantity: 'cumulative_net', value: sum.net_ml, uncertainty: sum.uncertainty_ml, atLeast },
    measured('net', sum.sum_of_measured_intervals_ml),
    measured('drained', sum.drained_ml),
    measured('sampled', sum.sampled_ml),
    measured('instilled', sum.instilled_ml),
    measured('in_doubt', sum.in_doubt_ml),
  ];
}

function ofWindow(window: Volumes['windows'][number]): readonly DerivedValue[] {
  const { from, to, coverage } = window;
  const volume = (part: string, value: number | null): DerivedValue => ({
    quantity: `window_${window.hours}_h_${part}`,
    value,
    unit: 'mL',
    from,
    to,
    coverage,
    atLeast: window.at_least,
    reasons: [],
    remarks: [
      ...(window.interpolated ? ['interpolated'] : []),
      ...(window.low_confidence ? ['low_confidence'] : []),
    ],
  });
  return [
    {
      ...volume('net', window.net_ml),
      uncertainty: window.uncertainty_ml,
      low: window.net_low_ml,
      high: window.net_high_ml,
    },
    volume('drained', window.drained_ml),
    volume('sampled', window.sampled_ml),
    volume('instilled', window.instilled_ml),
  ];
}

function ofNegativity(negativity: NonNullable<View['total_negativity']>): DerivedValue {
  const shared = { quantity: 'total_negativity', value: negativity.value_cmh2o, unit: 'cm[H2O]' } as const;
  if (negativity.value_cmh2o !== null) return { ...shared, reasons: [] };
  const { low_cmh2o: low, high_cmh2o: high, reason } = negativity;
  return { ...shared, low, high, reasons: [reason] };
}
