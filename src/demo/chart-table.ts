/** A drain's chart as a nurse would read it. Every number is the service's; nothing is worked out here. */
import { type AdvisoriesAnswer, numbersByTime } from './advisories.ts';
import type { ChartAnswer, RowAnswer } from './api.ts';
import { contentOf, type WireContent } from './charted.ts';
import { remarksOf } from './remarks.ts';
import { OFFSET } from './story.ts';
import { type Column, tableLines, WIDTH } from './table.ts';
import { timeText } from './time-text.ts';

export interface ChartOf {
  readonly chart: ChartAnswer;
  readonly advisories: AdvisoriesAnswer;
  /** Ids of entries that came late. */
  readonly late: ReadonlySet<string>;
}

const left = (width: number, ...heading: string[]): Column => ({ heading, width, align: 'left' });
const right = (width: number, ...heading: string[]): Column => ({ heading, width, align: 'right' });

const COLUMNS = [
  left(12, 'time', '', `UTC${OFFSET}`),
  left(17, 'what'),
  right(5, 'level', '', 'mL'),
  right(6, 'net', '', 'mL'),
  right(6, 'rate', '', 'mL/h'),
];
const PER_KG = right(7, 'rate by', 'weight', 'mL/kg/h');
const PRESSURE = [right(8, 'suction', '+ seal', 'cm H2O'), right(8, 'total', 'negativ.', 'cm H2O')];
const LEAK = left(13, 'air leak', '', 'grade, phase');

export function chartTable({ chart, advisories, late }: ChartOf): string[] {
  const raised = numbersByTime(advisories);
  const indexed = chart.population === 'paediatric';
  const narrow = [...COLUMNS, ...(indexed ? [PER_KG] : []), ...PRESSURE, LEAK];
  const remarks = left(WIDTH - narrow.reduce((sum, { width }) => sum + width + 1, 0), 'marks and remarks');
  let fluid: string | undefined;
  const rows = chart.rows.map((row) => {
    const content = contentOf(row);
    const before = fluid;
    if (content.kind === 'reading') fluid = content.fluid_character ?? fluid;
    const told = remarksOf(row, content, {
      late: late.has(row.entry),
      byWeight: indexed,
      fluidBefore: before,
    });
    return [
      timeText(row.effective_at),
      whatText(content),
      levelText(content),
      netText(row),
      rateText(row),
      ...(indexed ? [perKilogramText(row)] : []),
      partsText(content),
      negativityText(row),
      leakText(content),
      [...numbersText(raised, row), ...told].join('; '),
    ];
  });
  return tableLines([...narrow, remarks], rows);
}

/** At the row that shows what raised them: one with volumes or pressures, not an event of the same minute. */
function numbersText(raised: ReadonlyMap<number, readonly number[]>, row: RowAnswer): string[] {
  if (row.kind !== 'reading') return [];
  return [...(raised.get(Date.parse(row.effective_at)) ?? [])].map((number) => `[${number}]`);
}

const WHAT: Readonly<Partial<Record<WireContent['kind'], string>>> = {
  placed: 'drain placed',
  'set-up': 'unit set up',
  'unit-changed': 'unit changed',
  removed: 'drain removed',
  weighed: 'weight',
};

function whatText(content: WireContent): string {
  switch (content.kind) {
    case 'instilled':
      return content.purpose === 'flush' ? 'flush' : `${content.purpose} in`;
    case 'sampled':
      return 'sample';
    case 'suction-changed':
      return `suction ${content.source}`;
    case 'seal-adjusted':
      return `water ${content.water}`;
    case 'tube-manipulated':
      return `tube ${content.what}`;
    default:
      return WHAT[content.kind] ?? content.kind;
  }
}

function levelText(content: WireContent): string {
  if (content.kind === 'reading') return numberText(content.level_ml);
  if (content.kind === 'set-up' || content.kind === 'unit-changed')
    return numberText(content.opening_level_ml);
  return '';
}

const numberText = (value: number | null | undefined): string =>
  value === null || value === undefined ? '' : String(value);

/** In brackets at a unit change: the next reading's net contains it. */
export function netText({ kind, since_reading: interval }: RowAnswer): string {
  if (interval === undefined) return '';
  if (interval.net_ml === null) return '?';
  const text = `${interval.status === 'at-least' ? '>=' : ''}${interval.net_ml}`;
  return kind === 'reading' ? text : `(${text})`;
}

export function rateText({ kind, since_reading: interval }: RowAnswer): string {
  if (interval === undefined || kind !== 'reading') return '';
  return interval.rate_ml_h === null ? '?' : interval.rate_ml_h.toFixed(1);
}

function perKilogramText({ kind, since_reading: interval }: RowAnswer): string {
  if (interval === undefined || kind !== 'reading') return '';
  if (!('rate_ml_kg_h' in interval) || interval.rate_ml_kg_h === null) return '?';
  return interval.rate_ml_kg_h.toFixed(2);
}

function partsText(content: WireContent): string {
  if (content.kind !== 'reading') return '';
  const { suction, seal } = content;
  if (suction === undefined && seal === undefined) return '';
  const shown = suction?.column_cmh2o ?? suction?.dial_cmh2o;
  const imposed = suction?.source === 'off' ? 'off' : numberText(shown);
  return `${imposed} + ${numberText(seal?.level_cmh2o) || swingText(seal)}`;
}

function swingText(seal: Extract<WireContent, { kind: 'reading' }>['seal']): string {
  return seal === undefined ? '?' : `${seal.swing_low_cmh2o ?? '?'}-${seal.swing_high_cmh2o ?? '?'}`;
}

function negativityText({ total_negativity: total }: RowAnswer): string {
  if (total === undefined) return '';
  if (total.value_cmh2o !== null) return String(total.value_cmh2o);
  return `${total.low_cmh2o ?? '?'} to ${total.high_cmh2o ?? '?'}`;
}

function leakText(content: WireContent): string {
  if (content.kind !== 'reading' || content.air_leak === undefined) return '';
  const { grade, phase } = content.air_leak;
  const when = phase === 'forced-expiratory' ? 'forced exp.' : phase;
  return [numberText(grade), when].filter((text) => text !== undefined && text !== '').join(' ');
}
