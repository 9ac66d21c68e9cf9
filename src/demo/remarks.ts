/** What stands beside a row: marks, reasons for what has no value, and what else was charted, in few words. */
import type { RowAnswer } from './api.ts';
import type { WireContent } from './charted.ts';

export interface Beside {
  readonly late: boolean;
  /** Whether the table shows rates by body weight. */
  readonly byWeight: boolean;
  /** Character of the fluid at the reading before. */
  readonly fluidBefore: string | undefined;
}

/** Marks first: they say whether the numbers of the row can be trusted. */
export function remarksOf(row: RowAnswer, content: WireContent, beside: Beside): string[] {
  return [
    ...row.marks.map((mark) => mark.replaceAll('-', ' ').toUpperCase()),
    ...(row.counted ? [] : ['left out of the arithmetic']),
    ...volumeRemarks(row, beside.byWeight),
    ...negativityRemarks(row),
    ...(beside.late ? ['charted late'] : []),
    ...(row.correction === null ? [] : [`corrected: ${row.correction}`]),
    ...chartedRemarks(content, beside),
    ...(row.note === null ? [] : [row.note]),
  ];
}

const words = (reason: string): string => reason.replaceAll('-', ' ');

function volumeRemarks({ kind, since_reading: interval }: RowAnswer, byWeight: boolean): string[] {
  if (interval === undefined) return [];
  const remarks: string[] = [];
  if (interval.reason !== null)
    remarks.push(
      `net ${interval.net_ml === null ? 'unknown' : 'at least'}, no rate: ${words(interval.reason)}`,
    );
  if (interval.suspect) remarks.push('rise in doubt: a later level contradicts it');
  if (kind !== 'reading') return remarks;
  if (interval.rate_ml_h === null) {
    if (interval.reason === null) remarks.push(`no rate: ${words(interval.rate_reason)}`);
    return remarks;
  }
  if (byWeight && interval.rate_ml_kg_h === null) {
    remarks.push(`no rate by weight: ${words(interval.rate_ml_kg_h_reason)}`);
  }
  if (interval.open_time_rate_ml_h !== interval.rate_ml_h) {
    remarks.push(`${interval.open_time_rate_ml_h ?? '?'} mL/h over the time not clamped`);
  }
  return [...remarks, ...flowRemarks(interval)];
}

function flowRemarks(interval: NonNullable<RowAnswer['since_reading']>): string[] {
  const { drained_ml: drained, sampled_ml: sampled, instilled_ml: instilled } = interval;
  if (sampled === 0 && instilled === 0) return [];
  const parts = [`${drained ?? '?'} drained`];
  if (sampled !== 0) parts.push(`+ ${sampled} sampled`);
  if (instilled !== 0) parts.push(`- ${instilled} instilled`);
  return [`net: ${parts.join(' ')}`];
}

function negativityRemarks({ total_negativity: total }: RowAnswer): string[] {
  return total === undefined || total.value_cmh2o !== null
    ? []
    : [`negativity unproven: ${words(total.reason)}`];
}

function chartedRemarks(content: WireContent, { fluidBefore }: Beside): string[] {
  switch (content.kind) {
    case 'reading':
      return readingRemarks(content, fluidBefore);
    case 'set-up':
      return [content.profile, `suction ordered ${content.suction?.ordered_cmh2o ?? '?'} cm H2O`];
    case 'unit-changed':
      return [
        content.closing_level_ml === undefined
          ? 'old unit not read'
          : `old unit closed at ${content.closing_level_ml} mL`,
      ];
    case 'instilled':
      return [`${content.volume_ml} mL put in`];
    case 'sampled':
      return [`${content.volume_ml} mL taken out`];
    case 'seal-adjusted':
      return [`${content.chamber} chamber, now ${content.new_level_cmh2o ?? '?'} cm H2O`];
    case 'weighed':
      return [`${content.weight_kg} kg`];
    case 'placed':
      return [`${content.site}, ${content.tubes.join(' and ')}`];
    default:
      return [];
  }
}

function readingRemarks(
  content: Extract<WireContent, { kind: 'reading' }>,
  before: string | undefined,
): string[] {
  const { fluid_character: fluid, tidaling } = content;
  return [
    ...(fluid === undefined || fluid === before ? [] : [fluid]),
    ...(tidaling === 'absent' ? ['no swing'] : []),
  ];
}
