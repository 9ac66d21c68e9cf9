/** Configurations of all shapes that files and environment can give, and some that only a later release could. */
import fc from 'fast-check';
import { Decimal } from '../../src/domain/numbers/decimal.ts';
import type { Calendar, Configuration } from '../../src/domain/vocabulary/configuration.ts';
import type { Rule, RuleTable } from '../../src/domain/vocabulary/rule.ts';
import type { Settings } from '../../src/domain/vocabulary/settings.ts';
import type { UnitProfile } from '../../src/domain/vocabulary/unit-profile.ts';

/** Zeros at the end are part of it: 2, 2.0 and 2.000 all come. */
const decimal = (least: number, most: number): fc.Arbitrary<Decimal> =>
  fc
    .tuple(fc.integer({ min: least, max: most }), fc.constantFrom('', '.0', '.5', '.50', '.125'))
    .map(([whole, fraction]) => Decimal.of(`${whole}${fraction}`));

const hours = fc.integer({ min: 1, max: 168_000 }).map((thousandths) => thousandths / 1000);
const words = fc.string({ unit: 'grapheme', minLength: 1, maxLength: 40 });
const some = <T extends string>(...names: T[]) =>
  fc.option(fc.subarray(names, { minLength: 1 }), { nil: null });

const clock = fc.oneof(
  fc.constant({ origin: 'none', from_h: 0, to_h: null } as const),
  fc.record({
    origin: fc.constantFrom('chest-closure' as const, 'injury' as const, 'placement' as const),
    from_h: fc.constantFrom(0, 0.5, 2),
    to_h: fc.constantFrom(2.125, 6, null),
  }),
);

const evidence = fc.constantFrom('secondary text' as const, 'from memory' as const, 'local' as const);
const row = {
  id: fc.stringMatching(/^[a-z][a-z0-9-]{0,29}$/),
  title: words,
  populations: some('adult', 'paediatric'),
  indications: some('trauma', 'effusion'),
  sites: some('pleural-left', 'pericardial'),
  operator: fc.constantFrom('>' as const, '>=' as const),
  max_gap_h: hours,
  source: words,
  evidence,
  on: fc.boolean(),
  changed: fc.array(words, { maxLength: 2 }),
};
const output = {
  ...row,
  fluids: some('serous', 'purulent'),
  basis: fc.constantFrom('one-tube' as const, 'all-tubes' as const),
  threshold: decimal(0, 999_999_999),
  clock,
};
const oneReading = {
  ...row,
  fluids: fc.constant(null),
  basis: fc.constant('one-tube' as const),
  threshold: decimal(0, 60),
  clock: fc.constant({ origin: 'none', from_h: 0, to_h: null } as const),
};

const rule: fc.Arbitrary<Rule> = fc.oneof(
  fc.record({
    ...output,
    quantity: fc.constant('volume' as const),
    unit: fc.constantFrom('mL' as const, 'mL/kg' as const),
    window_h: hours,
  }),
  fc.record({
    ...output,
    quantity: fc.constant('rate' as const),
    unit: fc.constantFrom('mL/h' as const, 'mL/kg/h' as const),
    consecutive_h: fc.integer({ min: 1, max: 168 }),
  }),
  fc.record({
    ...oneReading,
    quantity: fc.constantFrom('total-negativity' as const, 'seal-below-fill' as const),
    unit: fc.constant('cm[H2O]' as const),
  }),
  fc.record({
    ...oneReading,
    quantity: fc.constant('chamber-fill' as const),
    unit: fc.constant('1' as const),
    threshold: decimal(0, 0),
  }),
  fc.record({
    ...oneReading,
    quantity: fc.constant('unexplained-fall' as const),
    unit: fc.constant('mL' as const),
  }),
  fc.record({ ...oneReading, quantity: fc.constant('swing-lost' as const), unit: fc.constant('1' as const) }),
  fc.record({ ...oneReading, quantity: fc.constant('leak-days' as const), unit: fc.constant('d' as const) }),
  fc.record({
    ...oneReading,
    quantity: fc.constant('output-stopping' as const),
    unit: fc.constant('mL/h' as const),
    operator: fc.constant('<' as const),
    window_h: hours,
    steady_h: hours,
    steady_ml_h: decimal(0, 100),
  }),
);

const rules: fc.Arbitrary<RuleTable> = fc.record({
  version: words,
  rules: fc.array(rule, { maxLength: 6 }),
  reading_every_h: fc.record({ adult: hours, paediatric: hours }),
});

const profile: fc.Arbitrary<UnitProfile> = decimal(1, 3000).chain((capacity_ml) =>
  fc.record(
    {
      id: words,
      kind: fc.constantFrom('gravity' as const, 'wet-suction' as const, 'electronic' as const),
      capacity_ml: fc.constant(capacity_ml),
      graduations: decimal(1, 50).map((mark_ml) => [{ up_to_ml: capacity_ml, mark_ml }]),
      leak_scale_max: decimal(1, 7),
      seal_fill_cmh2o: decimal(1, 4),
      seal_reading_includes_fill: fc.boolean(),
      seal_fill_counts: fc.boolean(),
    },
    {
      requiredKeys: [
        'id',
        'kind',
        'capacity_ml',
        'graduations',
        'seal_reading_includes_fill',
        'seal_fill_counts',
      ],
    },
  ),
);

/** Over nine digits too, as a month in ms has ten. */
const length = fc.nat({ max: 40 * 24 * 3_600_000 });
const settings: fc.Arbitrary<Settings> = fc.record({
  version: words,
  min_rate_interval_ms: length,
  max_gap_ms: length,
  max_weight_age_ms: fc.record({ adult: length, paediatric: length }),
  trailing_hours: fc.array(fc.integer({ min: 1, max: 72 })),
  sudden_jump: fc.record({ microlitres: fc.nat(), within_ms: length }),
  double_entry_ms: length,
  clock_skew_ms: length,
  max_future_ms: length,
});

const minute = fc.integer({ min: 0, max: 1439 });
const calendar: fc.Arbitrary<Calendar> = fc.record({
  zone: fc.constantFrom('UTC', 'Europe/Berlin', 'America/Argentina/Ushuaia'),
  dayStart: minute,
  shiftStarts: fc
    .uniqueArray(minute, { minLength: 1, maxLength: 4 })
    .map((starts) => starts.sort((a, b) => a - b)),
});

export const configuration: fc.Arbitrary<Configuration> = fc.record({
  algorithm: words,
  settings,
  profiles: fc
    .uniqueArray(profile, { maxLength: 4, selector: ({ id }) => id })
    .map((profiles) => new Map(profiles.map((each) => [each.id, each]))),
  rules,
  calendar,
  terminology: fc.record({
    snomed: fc.boolean(),
    categories: fc.record(
      { level: fc.constantFrom('survey', 'exam'), 'body-weight': fc.constant('vital-signs') },
      { requiredKeys: [] },
    ),
  }),
});
