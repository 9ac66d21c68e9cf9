/** A drain as dashboards and bedside read it: what it is, and its chart. */
import type { Book } from '../domain/book/book.ts';
import { effectiveOf, itemOf } from '../domain/fold/chains.ts';
import { type Chart, foldAll, rowsFrom } from '../domain/fold/chart.ts';
import { isSamePatient } from '../domain/fold/drain.ts';
import type { Span } from '../domain/fold/interval.ts';
import { type EpochMs, epochMs } from '../domain/numbers/units.ts';
import { ALGORITHM } from './receipt.ts';
import { chartedView, chartRowView } from './view.ts';

export function drainViewOf({ drain, head, view }: Book) {
  const { weights: _weights, placedMs: _placed, removedMs: _removed, ...facts } = view;
  return { drain, ...facts, entries: head };
}

/** The chart of what is charted up to a moment, or all of it. */
export function chartAsOf(book: Book, asOf: EpochMs | null): Chart {
  if (asOf === null) return book.chart;
  const items = [...book.chains.values()].flatMap((chain) => itemOf(chain) ?? []);
  return foldAll(
    items.filter((item) => item.at <= asOf),
    book.circumstances,
  );
}

export interface ChartAsked {
  /** What is charted up to it; null: all. */
  readonly asOf: EpochMs | null;
  /** Rows of that time and later; null: all. */
  readonly from: EpochMs | null;
  /** Whether it is for a client that is confined to a patient or drain. */
  readonly isConfined: boolean;
}

export function chartViewOf(book: Book, { asOf, from, isConfined }: ChartAsked) {
  const since = from ?? epochMs(-Infinity);
  const recordedAfter = isConfined ? anothersUntil(book) : epochMs(-Infinity);
  return {
    ...drainViewOf(book),
    derivation: { algorithm: ALGORITHM, settings: book.circumstances.settings.version },
    rows: rowsFrom(chartAsOf(book, asOf), since).map((row) => ({
      ...chartRowView(row),
      leak_scale_max: row.conditions.unit?.content.unit_profile.leak_scale_max?.toJSON() ?? null,
      newest_identifier: book.chains.get(row.item.id)?.end.body.identifier ?? row.item.identifier,
    })),
    withdrawn: withdrawnIn(book, { from: since, to: asOf ?? epochMs(Infinity) }, recordedAfter),
  };
}

/** Until when the drain was taken for somebody else's: what was withdrawn of then may be of them. */
function anothersUntil({ chains, view: { patient } }: Book): EpochMs {
  const ends = [...chains.values()].flatMap(({ content, end }) => {
    const linked =
      content.kind === 'placed' || content.kind === 'drain-updated' ? content.patient : undefined;
    return linked === undefined || isSamePatient(linked, patient) ? [] : [end.recorded_ms];
  });
  return epochMs(Math.max(-Infinity, ...ends));
}

/** What was entered in error, in order of time: nothing follows from it, and a record shows that it stood there. */
function withdrawnIn({ chains }: Book, { from, to }: Span, recordedAfter: EpochMs) {
  return [...chains.values()]
    .flatMap((chain) => {
      const { body, recorded_ms } = chain.end;
      if (body.kind !== 'entered-in-error' || chain.first.recorded_ms <= recordedAfter) return [];
      return [{ chain, at: effectiveOf(chain).ms, by: { ...body, recorded_ms } }];
    })
    .filter(({ at }) => at >= from && at <= to)
    .sort((a, b) => a.at - b.at)
    .map(({ chain: { first, content }, by }) => ({
      entry: first.id,
      identifier: first.body.identifier,
      kind: content.kind,
      effective_at: content.effective_at,
      ...chartedView(content),
      author: first.body.author,
      withdrawn_at: new Date(by.recorded_ms).toISOString(),
      withdrawn_by: by.author,
      reason: by.reason,
    }));
}
