/**
 * What is derived at a row of the chart as records of CSV, a value each with all that qualifies it.
 *
 * A reading has some forty of these, so they are put together as text at once: what several share is written once, and
 * no value is an object first. No cell needs a quote or the guard of cell-text.ts: times are RFC 3339, numbers are
 * numbers, and all other text is of our own vocabulary.
 */
import { type Interval, netOf } from '../../domain/fold/interval.ts';
import type { Negativity } from '../../domain/fold/negativity.ts';
import type { Rate } from '../../domain/fold/rate.ts';
import { type Cumulative, completenessOf, type Row, type Volumes } from '../../domain/fold/row.ts';
import { coveredThousandths } from '../../domain/fold/span.ts';
import { isLowConfidence } from '../../domain/fold/uncertainty.ts';
import type { Window } from '../../domain/fold/windows.ts';
import { approximately } from '../../domain/numbers/rational.ts';
import { HOUR_MS } from '../../domain/numbers/units.ts';
import { ml, mlOf, rounded } from '../figures.ts';

/** UCUM. */
type Unit = 'mL' | 'mL/h' | 'mL/kg/h' | 'cm[H2O]';

/** @param opening the cells before `quantity`, with the comma after them */
export function derivedLines(opening: string, { item, volumes, negativity }: Row): string {
  const ofVolumes = volumes === null ? '' : volumeLines(opening, volumes, item.content.effective_at);
  return negativity === null ? ofVolumes : ofVolumes + opening + negativityRecord(negativity);
}

function volumeLines(opening: string, volumes: Volumes, at: string): string {
  const { interval, since_reading: since, uncertainty } = volumes;
  const ofInterval = intervalRecords(interval, volumes.rate, uncertainty.interval);
  // No unit change between this reading and the last: both say the same.
  const ofBoth = since === interval && uncertainty.since_reading === uncertainty.interval;
  const ofSince = ofBoth
    ? ofInterval
    : intervalRecords(since, volumes.since_reading_rate, uncertainty.since_reading);
  let lines = '';
  for (const record of ofInterval) lines += `${opening}interval_${record}`;
  for (const record of ofSince) lines += `${opening}since_reading_${record}`;
  for (const record of cumulativeRecords(volumes.cumulative, uncertainty.cumulative, at))
    lines += opening + record;
  for (const window of volumes.windows) lines += windowLines(`${opening}window_${window.hours}_h_`, window);
  return lines;
}

const numberText = (value: number | null): string => (value === null ? '' : `${value}`);

/** An uncertainty, rounded as {@link toDecimals} rounds it; only of digits that end in zeros it takes a number to drop them. */
function errorText(value: number | null, decimals: number): string {
  const digits = value === null ? '' : value.toFixed(decimals);
  return digits.endsWith('0') ? `${Number(digits)}` : digits;
}

/** Cells for the note and the body, which only entries have. */
const END = ',,\r\n';
/** Cells for what does not qualify a value: uncertainty, low, high, at_least and coverage. */
const PLAIN = ',,,,';

/**
 * A record from `quantity` on.
 * @param value null: it is not known, and a reason stands in the ending
 * @param ending the cells from the unit on, with the comma before them
 */
const record = (quantity: string, value: number | null, ending: string): string =>
  `${quantity},${numberText(value)}${ending}`;

/** From the part of each quantity's name that says what of the interval it is. */
function intervalRecords(interval: Interval, rate: Rate, uncertainty: number | null): readonly string[] {
  const net = netOf(interval);
  const span = `${interval.from.at_text},${interval.to.at_text}`;
  const remarks = remarksOf(
    interval.suspect && 'suspect',
    isLowConfidence(net, uncertainty) && 'low_confidence',
  );
  const bounded = `,,,${interval.status === 'at-least'},,${span},${interval.reason ?? ''},${remarks}${END}`;
  const plain = `,mL,${PLAIN},${span},,${remarks}${END}`;
  return [
    record('net', ml(net), `,mL,${errorText(ml(uncertainty), 1)}${bounded}`),
    record('drained', ml(interval.drained), `,mL,${bounded}`),
    record('sampled', ml(interval.sampled), plain),
    record('instilled', ml(interval.instilled), plain),
    ...rateRecords(rate, span, remarks),
  ];
}

function rateRecords(rate: Rate, span: string, remarks: string): readonly string[] {
  const absent = (unit: Unit, reason: string) => `,${unit},${PLAIN},${span},${reason},${remarks}${END}`;
  if (rate.value === null) return [record('rate', null, absent('mL/h', rate.reason))];
  const given = (unit: Unit, error: string) => `,${unit},${error}${PLAIN},${span},,${remarks}${END}`;
  const { open, per_kg: perKg } = rate;
  return [
    record('rate', rounded(rate.value, 1), given('mL/h', errorText(rate.uncertainty, 1))),
    open.value === null
      ? record('open_time_rate', null, absent('mL/h', open.reason))
      : record('open_time_rate', rounded(open.value, 1), given('mL/h', '')),
    perKg.value === null
      ? record('rate_per_kg', null, absent('mL/kg/h', perKg.reason))
      : record('rate_per_kg', rounded(perKg.value, 2), given('mL/kg/h', errorText(perKg.uncertainty, 2))),
  ];
}

/** The sums of what was measured stand beside the total, which is absent while something of it is not known. */
function cumulativeRecords(sum: Cumulative, uncertainty: number | null, to: string): readonly string[] {
  const kind = completenessOf(sum);
  const rest = `${sum.from_text},${to},${sum.reasons.join(' ')},${END}`;
  const plain = `,mL,${PLAIN},${rest}`;
  const total = kind === 'measured-part' ? null : ml(sum.net);
  const error = errorText(ml(uncertainty), 1);
  return [
    record('cumulative_net', total, `,mL,${error},,,${kind === 'at-least'},,${rest}`),
    record('measured_net', ml(sum.net), plain),
    record('measured_drained', ml(sum.drained), plain),
    record('measured_sampled', ml(sum.sampled), plain),
    record('measured_instilled', ml(sum.instilled), plain),
    record('measured_in_doubt', ml(sum.suspect), plain),
  ];
}

function windowLines(opening: string, window: Window): string {
  const { net, uncertainty } = window;
  const wholeMs = window.hours * HOUR_MS;
  const remarks = remarksOf(
    window.interpolated && 'interpolated',
    isLowConfidence(approximately(net), uncertainty) && 'low_confidence',
  );
  const coverage = coveredThousandths(window.covered_ms, wholeMs) / 1000;
  const rest = `,${window.covered_ms !== wholeMs},${coverage},${window.from_text},${window.to_text},,${remarks}${END}`;
  const bounds = `${numberText(ml(window.net_low))},${numberText(ml(window.net_high))}`;
  const plain = `,mL,,,${rest}`;
  return (
    opening +
    record('net', mlOf(net), `,mL,${errorText(ml(uncertainty), 1)},${bounds}${rest}`) +
    opening +
    record('drained', mlOf(window.drained), plain) +
    opening +
    record('sampled', ml(window.sampled), plain) +
    opening +
    record('instilled', ml(window.instilled), plain)
  );
}

function negativityRecord(negativity: Negativity): string {
  const name = 'total_negativity';
  if (negativity.value !== null) return record(name, ml(negativity.value), `,cm[H2O],${PLAIN},,,,${END}`);
  const { low, high, reason } = negativity;
  const range = `${numberText(ml(low))},${numberText(ml(high))}`;
  return record(name, null, `,cm[H2O],,${range},,,,,${reason},${END}`);
}

const remarksOf = (first: string | false, second: string | false): string =>
  first === false ? second || '' : second === false ? first : `${first} ${second}`;
