/** The facts worked out at a row: what it ends, sums up and adds. Rounded here, once (half to even). */

import type { Interval, LevelPoint } from '../fold/interval.ts';
import { netOf } from '../fold/interval.ts';
import type { Negativity } from '../fold/negativity.ts';
import type { Rate } from '../fold/rate.ts';
import { completenessOf, type Row, type Volumes } from '../fold/row.ts';
import { coveredThousandths } from '../fold/span.ts';
import { isLowConfidence } from '../fold/uncertainty.ts';
import type { Window } from '../fold/windows.ts';
import { approximately, type Rational, rational, roundHalfEven } from '../numbers/rational.ts';
import { HOUR_MS, type Microlitres, thousandthsText } from '../numbers/units.ts';
import type { ComponentName, Fact, FactName, FactRef, FactValue, Flag } from '../vocabulary/fact.ts';
import { LEVEL_NAMES } from './charted-facts.ts';

export function derivedFacts(row: Row): Fact[] {
  return [...volumeFacts(row), ...negativityFacts(row)];
}

type Components = Fact['components'];
type Derived = Pick<Fact, 'effective' | 'value' | 'derived_from'> &
  Partial<Pick<Fact, 'components' | 'flags' | 'note'>>;

const NONE: readonly never[] = [];

function derived(row: Row, name: FactName, of: Derived): Fact {
  return {
    name,
    anchor: row.item.id,
    effective: of.effective,
    value: of.value,
    components: of.components ?? NONE,
    flags: of.flags ?? NONE,
    derived_from: of.derived_from,
    members: NONE,
    author: null,
    encounter: row.encounter,
    note: of.note ?? null,
  };
}

function volumeFacts(row: Row): Fact[] {
  const { volumes } = row;
  if (volumes === null) return [];
  const net = netFact(row, volumes.interval, volumes.uncertainty.interval);
  return [
    net,
    ...rateFacts(row, volumes, net),
    cumulativeFact(row, volumes, net),
    ...volumes.windows.map((window) => windowFact(row, window, net)),
  ];
}

function netFact(row: Row, interval: Interval, uncertainty: Microlitres | null): Fact {
  const net = netOf(interval);
  return derived(row, 'net-drainage', {
    effective: { from: interval.from.at_text, to: interval.to.at_text },
    value: net === null ? { absent: `${interval.reason}` } : volume(net, interval.status === 'at-least'),
    components: [...partsOf(interval), ...errorOf('uncertainty', thousandths(uncertainty), 1)],
    flags: [...flagsOf(interval), ...confidence(net, uncertainty)],
    derived_from: [levelRef(interval.from), levelRef(interval.to)],
    note: interval.reason,
  });
}

function partsOf(parts: Pick<Interval, 'drained' | 'sampled' | 'instilled'>): Components {
  const flows: Components = [
    { name: 'sampled', quantity: thousandthsText(parts.sampled) },
    { name: 'instilled', quantity: thousandthsText(parts.instilled) },
  ];
  if (parts.drained === null) return flows;
  return [{ name: 'drained', quantity: thousandthsText(parts.drained) }, ...flows];
}

function flagsOf(interval: Interval): readonly Flag[] {
  if (interval.suspect) return ['suspect'];
  return interval.status === 'at-least' ? ['lower-bound'] : NONE;
}

function levelRef(point: LevelPoint): FactRef {
  return { name: LEVEL_NAMES[point.part], anchor: point.id };
}

function volume(microlitres: number, atLeast: boolean): FactValue {
  const quantity = thousandthsText(microlitres);
  return atLeast ? { quantity, at_least: true } : { quantity };
}

function rateFacts(row: Row, { rate }: Volumes, net: Fact): Fact[] {
  if (rate.value === null) return [];
  const { effective, flags } = net;
  const components: Components = [
    ...(rate.open.value === null
      ? NONE
      : [{ name: 'open-time-rate', quantity: roundHalfEven(rate.open.value, 1) } as const]),
    ...errorOf('rate-uncertainty', rate.uncertainty, 1),
  ];
  const value = { quantity: roundHalfEven(rate.value, 1) };
  const perHour = derived(row, 'drainage-rate', {
    effective,
    value,
    components,
    flags,
    derived_from: [refTo(net)],
  });
  const indexed = perKilogramFact(row, rate.per_kg, perHour);
  return indexed === null ? [perHour] : [perHour, indexed];
}

function perKilogramFact(
  row: Row,
  perKg: Extract<Rate, { open: object }>['per_kg'],
  perHour: Fact,
): Fact | null {
  if (perKg.value === null) return null;
  return derived(row, 'drainage-rate-per-kg', {
    effective: perHour.effective,
    value: { quantity: roundHalfEven(perKg.value, 2) },
    components: [
      { name: 'weight-used', quantity: thousandthsText(perKg.weight.weight) },
      ...errorOf('rate-per-kg-uncertainty', perKg.uncertainty, 2),
    ],
    flags: perHour.flags,
    derived_from: [
      refTo(perHour),
      { name: 'body-weight', anchor: perKg.weight.id, drain: perKg.weight.drain },
    ],
  });
}

function cumulativeFact(row: Row, { cumulative: sum, uncertainty }: Volumes, net: Fact): Fact {
  const kind = completenessOf(sum);
  const measured: Components =
    kind === 'measured-part'
      ? [
          { name: 'sum-of-measured-intervals', quantity: thousandthsText(sum.net) },
          { name: 'suspect-volume', quantity: thousandthsText(sum.suspect) },
        ]
      : NONE;
  return derived(row, 'cumulative-drainage', {
    effective: { from: sum.from_text, to: toText(net) },
    value:
      kind === 'measured-part' ? { absent: sum.reasons.join(', ') } : volume(sum.net, kind === 'at-least'),
    components: [
      ...measured,
      ...partsOf(sum),
      ...errorOf('uncertainty', thousandths(uncertainty.cumulative), 1),
    ],
    flags: kind === 'at-least' ? ['lower-bound'] : NONE,
    derived_from: [refTo(net)],
    note: NOTE_ON[kind],
  });
}

const NOTE_ON = {
  total: null,
  'at-least': 'A lower bound: part of an interval is not known.',
  'measured-part': 'The sum of the measured intervals, not a total.',
} as const;

function windowFact(row: Row, window: Window, net: Fact): Fact {
  const complete = window.covered_ms === window.hours * HOUR_MS;
  const flags: Flag[] = [];
  if (!complete) flags.push('lower-bound');
  if (window.interpolated) flags.push('interpolated');
  flags.push(...confidence(approximately(window.net), window.uncertainty));
  return derived(row, `net-drainage-${window.hours}h` as FactName, {
    effective: { from: window.from_text, to: window.to_text },
    value: complete
      ? { quantity: millilitres(window.net) }
      : { quantity: millilitres(window.net), at_least: true },
    components: [
      { name: 'drained', quantity: millilitres(window.drained) },
      { name: 'sampled', quantity: thousandthsText(window.sampled) },
      { name: 'instilled', quantity: thousandthsText(window.instilled) },
      { name: 'net-low', quantity: thousandthsText(window.net_low) },
      ...(window.net_high === null
        ? NONE
        : [{ name: 'net-high', quantity: thousandthsText(window.net_high) } as const]),
      { name: 'coverage', quantity: coverageOf(window) },
      ...errorOf('uncertainty', thousandths(window.uncertainty), 1),
    ],
    flags,
    derived_from: [refTo(net)],
  });
}

/** µL or g as mL or kg. */
const thousandths = (value: number | null): number | null => (value === null ? null : value / 1000);

/** An expanded uncertainty as a component; none where it is not known. */
export function errorOf(name: ComponentName, uncertainty: number | null, decimals: number): Components {
  return uncertainty === null ? NONE : [{ name, quantity: uncertainty.toFixed(decimals) }];
}

/** A mark for the eye only: the reading error is larger than the value. It decides nothing. */
export function confidence(value: number | null, uncertainty: number | null): readonly Flag[] {
  return isLowConfidence(value, uncertainty) ? ['low-confidence'] : NONE;
}

function coverageOf({ covered_ms, hours }: Window): string {
  return roundHalfEven(rational(coveredThousandths(covered_ms, hours * HOUR_MS), 1000), 3);
}

/** Exact digits where the volume is whole microlitres, else 1 decimal. */
export function millilitres({ numerator, denominator }: Rational): string {
  if (denominator === 1n) return thousandthsText(Number(numerator));
  if (numerator % denominator === 0n) return thousandthsText(Number(numerator / denominator));
  return roundHalfEven({ numerator, denominator: denominator * 1000n }, 1);
}

function negativityFacts(row: Row): Fact[] {
  const { negativity, item } = row;
  if (negativity === null) return [];
  const parts: FactRef[] = [];
  const { content } = item;
  if (content.kind === 'reading') {
    if (content.seal?.level_cmh2o !== undefined) parts.push({ name: 'seal-level', anchor: item.id });
    if ((content.suction?.column_cmh2o ?? content.suction?.dial_cmh2o) !== undefined) {
      parts.push({ name: 'imposed-suction', anchor: item.id });
    }
    if (content.pressure_cmh2o !== undefined) parts.push({ name: 'measured-pressure', anchor: item.id });
  }
  return [
    derived(row, 'total-negativity', {
      effective: { at: content.effective_at },
      value: negativity.value === null ? { absent: negativity.reason } : volume(negativity.value, false),
      components: rangeOf(negativity),
      derived_from: parts,
      note: negativity.value === null ? negativity.reason : null,
    }),
  ];
}

function rangeOf(negativity: Negativity): Components {
  if (negativity.value !== null) return NONE;
  const { low, high } = negativity;
  return [
    ...(low === null ? NONE : [{ name: 'negativity-low', quantity: thousandthsText(low) } as const]),
    ...(high === null ? NONE : [{ name: 'negativity-high', quantity: thousandthsText(high) } as const]),
  ];
}

const refTo = ({ name, anchor }: Fact): FactRef => ({ name, anchor });

/** The end of a fact that has one. */
function toText({ effective }: Fact): string {
  return 'at' in effective ? effective.at : (effective.to ?? effective.from);
}
