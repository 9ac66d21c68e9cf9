/** What the page reads of one row of a chart: what was charted, and what follows from it. */
export interface Identifier {
  readonly system: string;
  readonly value: string;
}
export interface Reference {
  readonly reference?: string;
  readonly identifier?: Identifier;
}

export interface Interval {
  readonly from: string;
  readonly to: string;
  readonly status: string;
  readonly reason: string | null;
  readonly suspect: boolean;
  readonly net_ml: number | null;
  readonly uncertainty_ml: number | null;
  readonly low_confidence: boolean;
  readonly drained_ml: number | null;
  readonly sampled_ml: number;
  readonly instilled_ml: number;
  readonly rate_ml_h: number | null;
  readonly rate_uncertainty_ml_h?: number | null;
  readonly rate_reason?: string;
  readonly rate_ml_kg_h?: number | null;
}

export interface Cumulative {
  readonly net_ml: number | null;
  readonly at_least: boolean;
  readonly uncertainty_ml: number | null;
  readonly sum_of_measured_intervals_ml: number;
  readonly reasons: readonly string[];
}

export interface Window {
  readonly hours: number;
  readonly net_ml: number;
  readonly at_least: boolean;
  readonly uncertainty_ml: number | null;
  readonly coverage: number;
}

/** A number that a policy's figure is held to, in the unit of that figure. */
export interface Figure {
  readonly value: number;
  readonly uncertainty: number | null;
}

export interface Negativity {
  readonly value_cmh2o: number | null;
  readonly low_cmh2o?: number | null;
  readonly high_cmh2o?: number | null;
  readonly reason?: string;
}

export interface Row {
  readonly entry: string;
  readonly identifier: Identifier;
  readonly kind: string;
  readonly effective_at: string;
  readonly marks: readonly string[];
  readonly counted: boolean;
  readonly interval?: Interval;
  readonly since_reading?: Interval;
  readonly cumulative?: Cumulative;
  readonly windows?: readonly Window[];
  readonly total_negativity?: Negativity;
}

export interface ChartRow extends Row {
  readonly charted: Readonly<Record<string, unknown>>;
  readonly note: string | null;
  readonly author: Reference;
  readonly correction: string | null;
  readonly leak_scale_max: number | null;
  readonly newest_identifier: Identifier;
}

/** What was entered in error: it stood there, and counts nowhere. */
export interface WithdrawnRow
  extends Pick<ChartRow, 'entry' | 'kind' | 'effective_at' | 'charted' | 'note' | 'author'> {
  readonly withdrawn_at: string;
  readonly withdrawn_by: Reference;
  readonly reason: string;
}
