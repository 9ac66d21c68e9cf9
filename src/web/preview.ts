/** What an entry would give, before it is saved: worked out by the service, and nothing is written. */
import { cumulativeText, intervalText, negativityText } from './amounts.ts';
import type { Receipt } from './answers.ts';
import { type Child, h } from './dom.ts';
import type { Row } from './row-answers.ts';
import { unitText, wordsFor } from './words.ts';

/** What a person is asked before saving. */
export interface Question {
  readonly words: string;
  /** Kinds of entry that would explain it. */
  readonly instead: readonly string[];
}

/** @param lastLevel on the scale in use, mL */
export function questionOf(row: Row, lastLevel: number | null, level: number | null): Question | null {
  const { interval, marks, kind } = row;
  if (kind === 'reading' && interval?.reason === 'unexplained-fall' && lastLevel !== null && level !== null) {
    // Millilitres have at most 3 decimals; the difference of two doubles may show more.
    const fall = Number((lastLevel - level).toFixed(3));
    return {
      words: `Level ${fall} mL below the last, ${lastLevel} mL: unit changed? Scale disturbed? Or misread, now or then?`,
      instead: ['unit-changed', 'level-rebased'],
    };
  }
  if (marks.includes('sudden-jump'))
    return { words: 'A large rise in a short time: is the level right?', instead: [] };
  if (marks.includes('possible-double-entry'))
    return { words: 'The same level was charted shortly before: is this a second entry of it?', instead: [] };
  return null;
}

/** The derived values of a receipt, as a list. */
export function receiptView({ derived, late, advisories }: Receipt): HTMLElement {
  const items: Child[] =
    derived === null ? ['What it withdraws leaves the arithmetic.'] : derivedLines(derived);
  const told = [
    ...(advisories?.raised ?? []).map((each) => `Would raise for review: ${advisoryText(each)}`),
    ...(advisories?.ended ?? []).map((each) => `Would end: ${advisoryText(each)}`),
    ...(advisories?.withdrawn ?? []).map((each) => `Would withdraw: ${advisoryText(each)}`),
  ];
  const all = [...items, late && 'Late: something later is charted already.', ...told].filter(Boolean);
  if (all.length === 0) return h('p', {}, 'Nothing is worked out from this.');
  return h(
    'ul',
    { class: 'derived' },
    all.map((item) => h('li', {}, item)),
  );
}

function derivedLines({ interval, since_reading, cumulative, total_negativity, marks }: Row): Child[] {
  const since =
    since_reading !== undefined && since_reading.from !== interval?.from
      ? `since the last reading: ${intervalText(since_reading)}`
      : null;
  return [
    interval === undefined ? null : h('strong', {}, intervalText(interval)),
    since,
    cumulative === undefined ? null : cumulativeText(cumulative),
    total_negativity === undefined ? null : `total negativity ${negativityText(total_negativity)}`,
    ...marks.map((mark) => h('span', { class: 'doubt' }, `marked: ${wordsFor(mark)}`)),
  ].filter((each) => each !== null);
}

const advisoryText = ({
  title,
  value,
  unit,
}: {
  title: string;
  value: number | null;
  unit: string;
}): string => `${title}${value === null ? '' : `, ${value} ${unitText(unit)}`}`;
