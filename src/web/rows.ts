/** The chart of a drain as a table, newest first: the same as the plots show, for reading and for correcting. */

import { cumulativeCell, negativityText, netText, rateText } from './amounts.ts';
import type { Chart, Leak } from './answers.ts';
import { serviceNow } from './clock.ts';
import { type Child, h, link, unseen } from './dom.ts';
import { valueAt } from './exact.ts';
import { allFieldsOf } from './fields.ts';
import { kindIn, type Waiting } from './outbox.ts';
import { refusalText } from './refusal.ts';
import type { ChartRow, WithdrawnRow } from './row-answers.ts';
import { leakText } from './shown.ts';
import { tableView } from './table.ts';
import { clockText } from './time.ts';
import { referenceText, wordsFor } from './words.ts';

const HEADS = [
  'Time',
  'What',
  'Level mL',
  'Net mL',
  'Rate mL/h',
  'In all mL',
  'Negativity cmH2O',
  'Leak',
  'Charted by',
];

export function rowsTable({ drain, rows, withdrawn }: Chart, zone: string, isPrinted = false): HTMLElement {
  const heads = isPrinted ? HEADS : [...HEADS, unseen('Change')];
  const lines = [
    ...rows.map((row) => ({ row, line: rowView(drain, row, zone, isPrinted) })),
    ...withdrawn.map((row) => ({ row, line: withdrawnView(row, zone, isPrinted) })),
  ]
    .map(({ row, line }) => ({ at: Date.parse(row.effective_at), line }))
    .sort((a, b) => a.at - b.at)
    .toReversed();
  return tableView(
    'Chart',
    'Chart, newest first',
    heads,
    lines.map(({ line }) => line),
  );
}

function rowView(drain: string, row: ChartRow, zone: string, isPrinted: boolean): HTMLElement {
  const cells = [
    h('th', { scope: 'row' }, clockText(row.effective_at, zone, serviceNow())),
    h('td', { class: 'what' }, whatOf(row)),
    ...numbersOf(row).map((value) => h('td', { class: 'figure' }, value)),
    h('td', { class: 'leak' }, leakOf(row)),
    h('td', {}, authorOf(row)),
    isPrinted ? null : h('td', { class: 'change' }, changesOf(drain, row)),
  ];
  return h('tr', { class: row.counted ? undefined : 'left-out' }, cells);
}

/** What was entered in error is struck through, and nothing follows from it or can be done with it. */
function withdrawnView(row: WithdrawnRow, zone: string, isPrinted: boolean): HTMLElement {
  const { kind, effective_at, charted, note, withdrawn_at, withdrawn_by, reason } = row;
  const struck = (words: string): Child => words !== '' && h('s', {}, words);
  const clock = (at: string): string => clockText(at, zone, serviceNow());
  const by = `entered in error: ${reason}; withdrawn ${clock(withdrawn_at)} by ${referenceText(withdrawn_by)}`;
  return h(
    'tr',
    { class: 'withdrawn' },
    h('th', { scope: 'row' }, struck(clock(effective_at))),
    h(
      'td',
      { class: 'what' },
      struck(`${wordsFor(kind)}${saidText(row)}`),
      h('p', {}, by),
      note !== null && h('p', { class: 'quiet' }, struck(note)),
    ),
    h('td', { class: 'figure' }, struck(levelText(charted))),
    // Net, rate, sum and negativity: none follows.
    Array.from({ length: 4 }, () => h('td')),
    h('td', { class: 'leak' }, struck(leakOf({ charted, leak_scale_max: null }))),
    h('td', {}, authorOf(row)),
    isPrinted ? null : h('td'),
  );
}

/** A reference is long, and may be broken after its type. */
const authorOf = ({ author }: Pick<ChartRow, 'author'>): Child =>
  referenceText(author)
    .split(/(?<=\/)/)
    .map((part) => [part, h('wbr')]);

function whatOf({ kind, charted, marks, note, correction }: ChartRow): Child {
  return [
    wordsFor(kind),
    saidText({ kind, charted }),
    marks.map((mark) => h('p', { class: 'doubt' }, wordsFor(mark))),
    correction !== null && h('p', { class: 'quiet' }, `corrected: ${correction}`),
    note !== null && h('p', { class: 'quiet' }, note),
  ];
}

const saidText = ({ kind, charted }: Pick<ChartRow, 'kind' | 'charted'>): string =>
  kind === 'reading' ? seenText(charted) : detailOf(charted);

/** What was seen at a reading, beside the columns. */
function seenText({ tidaling, fluid_character: fluid }: ChartRow['charted']): string {
  const seen = [
    typeof tidaling === 'string' && `swing ${wordsFor(tidaling)}`,
    typeof fluid === 'string' && wordsFor(fluid),
  ].filter(Boolean);
  return seen.length === 0 ? '' : `: ${seen.join(', ')}`;
}

/** What an event says of itself, beside the columns. Codes are shown in words, names and words as they were written. */
function detailOf(charted: ChartRow['charted']): string {
  const volume = charted.volume_ml === undefined ? '' : ` ${charted.volume_ml} mL`;
  const textOf = (key: string) => (typeof charted[key] === 'string' ? [String(charted[key])] : []);
  const codes = ['purpose', 'what', 'cause', 'source'].flatMap(textOf).map(wordsFor);
  const named = [...codes, ...['profile', 'words'].flatMap(textOf)];
  const weight = charted.weight_kg === undefined ? '' : ` ${charted.weight_kg} kg`;
  return `${volume}${weight}${named.length === 0 ? '' : `: ${named.join(', ')}`}`;
}

function numbersOf(row: ChartRow): Child[] {
  const { charted, interval, cumulative, total_negativity: negativity } = row;
  return [
    levelText(charted),
    interval === undefined ? '' : netText(interval, ''),
    interval === undefined ? '' : rateText(interval, ''),
    cumulative === undefined ? '' : cumulativeCell(cumulative),
    negativity === undefined ? '' : negativityText(negativity, ''),
  ];
}

function leakOf({ charted, leak_scale_max }: Pick<ChartRow, 'charted' | 'leak_scale_max'>): string {
  const leak = charted.air_leak as Partial<Pick<Leak, 'grade' | 'phase' | 'flow_ml_min'>> | undefined;
  if (leak === undefined) return '';
  const { grade = null, phase = null, flow_ml_min = null } = leak;
  const isLeak = (grade ?? 0) > 0 || (flow_ml_min ?? 0) > 0 || (phase ?? 'none') !== 'none';
  return leakText({ leak: isLeak, leak_scale_max, grade, phase, flow_ml_min });
}

/** A unit change shows where the old unit ended and the new one began. */
function levelText(charted: ChartRow['charted']): string {
  const at = (path: string) => valueAt(charted, path);
  const shown = [at('closing_level_ml'), at('opening_level_ml')].filter((each) => each !== undefined);
  if (shown.length > 0) return shown.join(' → ');
  return String(at('level_ml') ?? at('new_level_ml') ?? '');
}

function changesOf(drain: string, { entry, kind, effective_at }: ChartRow): Child {
  const which = unseen(` ${wordsFor(kind)} ${effective_at}`);
  const change = link('Correct', `#/drain/${drain}/correct/${entry}`);
  const withdraw = link('In error', `#/drain/${drain}/void/${entry}`);
  change.append(which.cloneNode(true));
  withdraw.append(which);
  return [change, ' ', withdraw];
}

/** Entries of this drain that the service has not answered for. */
export const waitingRows = (entries: readonly Waiting[], zone: string): Child =>
  entries.length > 0 &&
  h(
    'ul',
    { class: 'waiting' },
    entries.map((entry) => {
      const { id, words, savedAt, refused } = entry;
      return h(
        'li',
        {},
        h('strong', {}, refused === null ? 'Not yet sent: ' : 'Not taken: '),
        `${words}, saved ${clockText(savedAt, zone, serviceNow())}. `,
        refused === null
          ? 'It is kept here and sent by itself.'
          : `${refusalText(refused, { fields: allFieldsOf(kindIn(entry)), zone, now: serviceNow() })} `,
        refused !== null && link('Mend it', `#/waiting/${id}`),
      );
    }),
  );
