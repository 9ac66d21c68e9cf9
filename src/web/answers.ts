/** What the page reads of the service's answers; the whole is in the API reference. */
import type {
  ChartRow,
  Cumulative,
  Figure,
  Identifier,
  Interval,
  Negativity,
  Reference,
  Row,
  Window,
  WithdrawnRow,
} from './row-answers.ts';

export interface UnitProfile {
  readonly id: string;
  readonly kind: 'gravity' | 'wet-suction' | 'dry-suction' | 'electronic';
  readonly capacity_ml: number;
  readonly leak_scale_max?: number;
  /** In between, what a device reads is kept and not charted. Absent: all is charted. */
  readonly charted_every_min?: number;
}

export interface Drain {
  readonly drain: string;
  readonly patient?: Reference;
  readonly site: string | null;
  readonly tubes: readonly string[];
  readonly population?: string;
  readonly indication?: string;
  readonly placed_at: string | null;
  readonly removed_at: string | null;
}

export interface Chart extends Drain {
  readonly rows: readonly ChartRow[];
  readonly withdrawn: readonly WithdrawnRow[];
}

export interface Leak {
  readonly effective_at: string;
  readonly leak: boolean;
  readonly grade: number | null;
  readonly leak_scale_max: number | null;
  readonly flow_ml_min: number | null;
  readonly phase: string | null;
}

interface Checked {
  readonly status: 'done' | 'missing' | 'not-applicable';
}

export interface State extends Drain {
  readonly as_of: string;
  readonly unit: UnitProfile | null;
  readonly level_ml: number | null;
  readonly suction_source: string | null;
  readonly clamped_since: string | null;
  readonly total_negativity: (Negativity & { readonly at: string }) | null;
  readonly chamber: {
    readonly capacity_ml: number;
    readonly fill_fraction: number;
    readonly time_to_full: { readonly value_h: number | null; readonly reason: string | null };
  } | null;
  readonly set_up_check: {
    readonly seal_filled: Checked;
    readonly suction_proven: Checked;
    readonly connections_checked: Checked;
  } | null;
  readonly patency: {
    readonly swing: string | null;
    readonly swing_lost: boolean | null;
    readonly reason: string | null;
  } | null;
  readonly devices: readonly {
    readonly identifier: Identifier;
    readonly type: string;
    readonly since: string;
  }[];
  readonly drains_of_patient: readonly Pick<Drain, 'drain' | 'site' | 'tubes' | 'removed_at'>[];
  readonly air_leak: {
    readonly newest: Leak | null;
    readonly grade_trend: { readonly trend: string; readonly reason: string | null };
    readonly leak_free: { readonly value_h: number | null; readonly reason: string | null };
  };
  readonly overdue: { readonly expected_every_h: number } | null;
  readonly last_reading: (ChartRow & { readonly age_s: number }) | null;
  readonly last_volumes: (ChartRow & { readonly age_s: number }) | null;
  readonly last_total_negativity: (ChartRow & { readonly age_s: number }) | null;
}

export interface StandingAdvisory {
  readonly id: string;
  readonly title: string;
  readonly raised_at: string;
  readonly value: number | null;
  readonly unit: string;
  readonly reviewed: boolean;
}

export interface OverviewRow extends Drain {
  readonly unit: UnitProfile | null;
  readonly level_ml: number | null;
  readonly chamber: State['chamber'];
  readonly clamped_since: string | null;
  readonly suction_source: string | null;
  readonly last_reading_at: string | null;
  readonly age_s: number;
  readonly overdue: { readonly expected_every_h: number } | null;
  readonly last_interval: Interval | null;
  readonly cumulative: Cumulative | null;
  readonly windows: readonly Window[];
  readonly total_negativity: State['total_negativity'];
  readonly air_leak: Leak | null;
  readonly swing: string | null;
  readonly advisories: readonly StandingAdvisory[];
}

export interface Overview {
  readonly as_of: string;
  readonly open: number;
  readonly drains: readonly OverviewRow[];
  readonly next_after: string | null;
}

interface Finding {
  readonly at: string;
  readonly value: number | null;
  readonly uncertainty: number | null;
  readonly within_uncertainty: boolean;
  readonly at_least: boolean;
  readonly water_to_add_cmh2o: number | null;
}

export interface Advisory {
  readonly id: string;
  readonly rule: {
    readonly title: string;
    readonly operator: string;
    readonly threshold: number;
    readonly unit: string;
    readonly source: string;
    readonly evidence: string;
  };
  readonly raised_at: string;
  readonly ended_at: string | null;
  readonly raised: Finding;
  readonly newest: Finding;
  readonly reviews: readonly { readonly words: string; readonly author: Reference; readonly at: string }[];
}

export interface Advisories {
  readonly advisories: readonly Advisory[];
  readonly not_assessable: readonly {
    readonly title: string;
    readonly reason: string;
    readonly now: boolean;
  }[];
}

interface ChangedAdvisory {
  readonly title: string;
  readonly value: number | null;
  readonly unit: string;
}

export interface Receipt {
  readonly sequence: number;
  readonly late: boolean;
  readonly derived: Row | null;
  readonly advisories?: {
    readonly raised: readonly ChangedAdvisory[];
    readonly ended: readonly ChangedAdvisory[];
    readonly withdrawn: readonly ChangedAdvisory[];
  };
}

export interface DryRun {
  readonly dry_run: true;
  readonly receipt: Receipt;
}

export interface CalendarWindows {
  readonly calendar: { readonly zone: string };
  readonly windows: readonly {
    readonly local_from: string;
    readonly local_to: string;
    readonly net_ml: number | null;
    readonly uncertainty_ml?: number | null;
    readonly at_least: boolean;
    readonly preliminary: boolean;
    readonly coverage: number | null;
    readonly reason: string | null;
    readonly uncovered: readonly string[];
  }[];
}

export interface RemovalPolicy {
  readonly id: string;
  readonly source: string;
  readonly setting: string;
}

export interface Criterion {
  readonly criterion: 'volume' | 'air-flow' | 'air-leak' | 'fluid';
  readonly status: 'met' | 'not-met' | 'not-known';
  readonly reason: string | null;
  readonly limit?: { readonly operator?: string; readonly threshold?: number; readonly unit?: string };
  readonly net?: Figure | null;
  readonly drained_and_sampled?: Figure | null;
  readonly at_least?: boolean;
  readonly entries: readonly string[];
}

export interface RemovalEvidence {
  readonly policy: RemovalPolicy;
  readonly scope: readonly { readonly about: string; readonly status: 'same' | 'differs' | 'not-stated' }[];
  readonly criteria: readonly Criterion[];
  readonly outstanding: readonly string[];
}
