/** Where an open drain stands, in one line: what does not change while time alone goes by. */

import type { Policy } from '../../domain/advisories/policy.ts';
import { airLeakOf } from '../../domain/assessment/air-leak.ts';
import { patencyOf } from '../../domain/assessment/patency.ts';
import { type Advised, advise } from '../../domain/book/advise.ts';
import type { Book, Subject } from '../../domain/book/book.ts';
import { rowsFrom, stateOf } from '../../domain/fold/chart.ts';
import { underConditions } from '../../domain/fold/conditions.ts';
import type { Row } from '../../domain/fold/row.ts';
import { epochMs } from '../../domain/numbers/units.ts';
import { episodeView } from '../advisory-view.ts';
import { drainViewOf } from '../chart-view.ts';
import { airLeakView } from '../judged-view.ts';
import { standingOf } from '../standing.ts';
import { rowView } from '../view.ts';

/** @returns null where the drain is not placed, or out */
export function overviewRowOf(book: Book, subject: Subject, rules: Policy['rules']) {
  const { view, chart, circumstances } = book;
  if (view.placedMs === null || view.removedMs !== null) return null;
  const rows = rowsFrom(chart, epochMs(-Infinity));
  const under = underConditions(rows);
  const reading = rows.findLast((row) => row.counted && row.item.content.kind === 'reading');
  const volumes = rows.findLast((row) => row.volumes !== null);
  return {
    ...drainViewOf(book),
    ...standingOf(stateOf(chart), under, volumes),
    last_reading_at: reading?.item.content.effective_at ?? null,
    ...volumesView(volumes),
    air_leak: airLeakView(airLeakOf(under, view, circumstances.settings)).newest,
    swing: patencyOf(under, view.site).swing,
    advisories: standingOn(book.drain, advise([...subject.values()], rules)).map(advisoryView),
  };
}

export type OverviewRow = NonNullable<ReturnType<typeof overviewRowOf>>;

function volumesView(row: Row | undefined) {
  if (row === undefined) return { last_interval: null, cumulative: null, windows: [] };
  const { interval = null, cumulative = null, windows = [] } = rowView(row) as VolumesOfRow;
  return { last_interval: interval, cumulative, windows };
}

/** A row that has volumes shows them; the view's type leaves them open. */
type VolumesOfRow = Partial<Record<'interval' | 'cumulative', object>> & { readonly windows?: object[] };

/** One of several drains stands on each of them: whoever looks at a drain must see it. */
const standingOn = (drain: string, { episodes }: Advised) =>
  episodes.filter(({ ended_at, drains }) => ended_at === null && drains.includes(drain)).map(episodeView);

function advisoryView({ id, rule, raised_at, newest, reviews }: ReturnType<typeof episodeView>) {
  const { value, within_uncertainty, at_least } = newest;
  const { id: rule_id, title, threshold, operator, unit } = rule;
  return {
    id,
    rule: rule_id,
    title,
    raised_at,
    value,
    unit,
    operator,
    threshold,
    within_uncertainty,
    at_least,
    reviewed: reviews.length > 0,
  };
}
