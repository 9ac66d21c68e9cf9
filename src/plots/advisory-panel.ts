/** Advisories on the time axis: when each threshold was crossed, until when, and whether somebody has reviewed it. */
import type { Drawn, PlotAdvisory } from './drawn-data.ts';
import { keyBox, type Panel, plotLeft, plotRight, type Sheet, timeAxis } from './frame.ts';
import { el, text } from './svg.ts';

const ROW = 36;
const HEAD = 44;
const FOOT = 36;
const MOST_ROWS = 10;

export function advisoryPanel(sheet: Sheet, { advisories }: Drawn): Panel {
  const shown = advisories.toSorted((a, b) => b.from - a.from).slice(0, MOST_ROWS);
  const rest = advisories.length - shown.length;
  const bottom = HEAD + Math.max(1, shown.length) * ROW;
  const drawn = [
    text('Advisories, for review', plotLeft, 16, { class: 'title' }),
    shown.length === 0 ? text('none in this time', plotLeft, HEAD + 16, { class: 'quiet' }) : keyDrawn(rest),
    timeAxis(sheet, HEAD, bottom),
    ...shown.map((advisory, n) => rowDrawn(sheet, advisory, HEAD + n * ROW)),
  ];
  return { height: bottom + FOOT, drawn: drawn.join('') };
}

function keyDrawn(rest: number): string {
  const [standing, ended] = [keyBox('', 'span'), keyBox('', 'span ended')];
  const more = rest === 0 ? '' : `; ${rest} older not drawn`;
  return (
    standing.draw(plotLeft + 6, 30) +
    text('stands', plotLeft + 18, 34, { class: 'quiet small' }) +
    ended.draw(plotLeft + 76, 30) +
    text(`ended${more}`, plotLeft + 88, 34, { class: 'quiet small' })
  );
}

function rowDrawn(sheet: Sheet, { title, from, to, isReviewed }: PlotAdvisory, top: number): string {
  const left = Math.max(sheet.x(from), plotLeft);
  const right = Math.min(to === null ? plotRight(sheet) : sheet.x(to), plotRight(sheet));
  const words = `${title}${to === null ? ', stands' : ''}${isReviewed ? ', reviewed' : ''}`;
  const box = { x: left, y: top + 20, width: Math.max(3, right - left), height: 10 };
  return (
    el('rect', { ...box, class: to === null ? 'span' : 'span ended' }) +
    text(words, plotLeft + 4, top + 15, { class: 'small' })
  );
}
