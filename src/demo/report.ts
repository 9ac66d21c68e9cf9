/** The parts of the demo's report that stand around the tables. */
import { CAUTIONS } from '../http/parts.ts';
import { advisoryLines } from './advisories.ts';
import type { RowAnswer } from './api.ts';
import { type ChartOf, chartTable, netText, rateText } from './chart-table.ts';
import { layOut } from './exact-print.ts';
import type { Replayed, Watched } from './replay.ts';
import type { Story } from './story.ts';
import { WIDTH, wrapped } from './table.ts';
import { timeText } from './time-text.ts';

export function heading(text: string): string[] {
  return ['', text, '='.repeat(Math.min(text.length, WIDTH))];
}

export function openingLines(): string[] {
  return [
    'drainledger: demonstration',
    '',
    ...CAUTIONS.flatMap((caution) => wrapped(caution)),
    '',
    ...wrapped(
      'Everything below is invented: patients, staff, readings and events. Nothing of it happened to anybody.',
    ),
  ];
}

export function replayLines({ singles, batches, resent, refused, watched }: Replayed): string[] {
  return [
    `  ${singles} messages one by one, and ${batches.length} batch (${batches.join(', ')} entries), over HTTP.`,
    ...resent.flatMap(({ key, status }) => [
      '',
      `  Sent a second time, as after a lost answer: ${key}`,
      `  Answer ${status}, with the text of the first answer; nothing was written twice.`,
    ]),
    ...refused.flatMap(({ line, answer }) => [
      '',
      `  Sent with a mistake: ${line}`,
      `  Answer ${answer.status}; the ledger does not change:`,
      `    ${layOut(answer.text, '    ')}`,
    ]),
    ...watched.flatMap(watchedLines),
  ];
}

function watchedLines({ what, before, after }: Watched): string[] {
  return ['', `  ${what}`, '    before:', ...before.map(watchedRow), '    after:', ...after.map(watchedRow)];
}

function watchedRow(row: RowAnswer): string {
  const { since_reading: interval } = row;
  const doubts = [
    ...(interval?.reason == null ? [] : [interval.reason.replaceAll('-', ' ')]),
    ...(interval?.suspect ? ['rise in doubt: a later level contradicts it'] : []),
  ];
  const numbers = `net ${netText(row).padStart(5)} mL   rate ${(rateText(row) || '-').padStart(5)} mL/h`;
  const line = `      ${timeText(row.effective_at)}  ${row.kind.replaceAll('-', ' ').padEnd(13)} ${numbers}   ${doubts.join('; ')}`;
  return line.trimEnd();
}

export const LEGEND = [
  'net: drained + sampled - instilled since the previous reading, by what the service answers; >= at least; ? not known.',
  'In brackets: what had come by the time of a unit change; the net of the next reading contains it.',
  'rate: net over wall-clock time. suction: column or dial as read; total negativity: suction + seal where both are',
  'proven, otherwise from-to. Marks are in capitals; a number in brackets names an advisory below the table.',
];

export function chartLines(story: Story, of: ChartOf): string[] {
  const { advisories } = of;
  return [
    ...heading(`${story.title} (invented)`),
    ...chartTable(of),
    '',
    ...sumLines(of),
    ...advisoryLines(advisories),
  ];
}

function sumLines({ chart }: ChartOf): string[] {
  const last = chart.rows.findLast(({ cumulative }) => cumulative !== undefined);
  if (last?.cumulative === undefined) return [];
  const { cumulative, windows = [] } = last;
  const parts = `drained ${cumulative.drained_ml}, sampled ${cumulative.sampled_ml}, instilled ${cumulative.instilled_ml}`;
  const sum =
    cumulative.net_ml === null
      ? `sum of the measured intervals ${cumulative.sum_of_measured_intervals_ml} mL, no total: ${cumulative.reasons.join(', ').replaceAll('-', ' ')}`
      : `${cumulative.at_least ? '>= ' : ''}${cumulative.net_ml} mL`;
  const trailing = windows.map(
    ({ hours, net_ml, at_least, coverage }) =>
      `${hours} h: ${at_least ? '>=' : ''}${net_ml} mL${at_least ? ` (covered ${coverage})` : ''}`,
  );
  return [
    ...wrapped(`Net since the first level, up to ${timeText(last.effective_at)}: ${sum} (${parts}).`),
    ...wrapped(`Net over the hours before it: ${trailing.join('; ')}.`),
  ];
}
