/** What an entry changes on its drain and on the other drains of the patient: charts, then what rests on several of them. */

import type { Episode } from '../advisories/episodes.ts';
import type { Policy } from '../advisories/policy.ts';
import { type Tube, tubeOf } from '../advisories/tubes.ts';
import { type Watch, watched } from '../advisories/watch.ts';
import { advisoryFact } from '../facts/advisory-facts.ts';
import { type ChangedSide, changedWindows } from '../facts/changed-windows.ts';
import { type FactsChanged, type Issued, issues, rowFacts } from '../facts/issue.ts';
import type { Item } from '../fold/chains.ts';
import { type Chart, refold } from '../fold/chart.ts';
import type { Circumstances } from '../fold/circumstances.ts';
import { changedSince, circumstancesOf, type DrainView } from '../fold/drain.ts';
import type { Row } from '../fold/row.ts';
import { equal } from '../numbers/equal.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import { type Book, type Subject, weightsFor } from './book.ts';

/** What an entry changes on one drain. */
export interface DrainChange {
  readonly drain: string;
  readonly view: DrainView;
  readonly circumstances: Circumstances;
  readonly chart: Chart;
  readonly watch: Watch;
  readonly issued: readonly Issued[];
  /** Advisories that this drain keeps and that may differ, as they were and as they are. */
  readonly advisories: { readonly before: readonly Episode[]; readonly after: readonly Episode[] };
}

/** Statements that no longer stand on a drain, and those that do from now on. */
export interface Moved {
  readonly remove: readonly Item[];
  readonly add: readonly Item[];
}

/** What an entry does to the books that its drain shares a patient with. */
export interface Asked {
  readonly book: Book;
  /** The drain's view after the entry. */
  readonly view: DrainView;
  readonly others: readonly Book[];
  readonly moved: Moved;
  readonly cause: 'amended' | 'corrected';
}

/** @returns the entry's own drain first, and the rows of it that were folded again */
export function changesOf(asked: Asked, policy: Policy): { changes: DrainChange[]; rows: readonly Row[] } {
  const { book, view, others, moved, cause } = asked;
  const views = [view, ...others.map((other) => other.view)];
  const own = chartedAnew(book, view, views, moved, policy);
  const charted = [
    own,
    ...others.map((other) => chartedAnew(other, other.view, views, NOTHING_MOVED, policy)),
  ];
  const watches = watched(charted, policy);
  const windows = changedWindows(charted.map(sideOf), policy);
  const tubesBefore = charted.flatMap(({ book: was }) => tubeOf(was) ?? []);
  const tubes = charted.flatMap((drain) => tubeOf(drain) ?? []);
  const changes = charted.flatMap((now): DrainChange[] => {
    const { drain, circumstances, chart, everyFact, facts } = now;
    const { watch, ...advisories } = watches.get(drain) ?? { watch: now.watch, before: [], after: [] };
    const factOn = (those: readonly Tube[]) => (episode: Episode) =>
      advisoryFact(episode, { home: drain, tubes: those, nameOf: policy.nameOf });
    const turned = turning(advisories);
    const ofWindows = windows.get(drain) ?? NO_FACTS;
    const all: FactsChanged = {
      before: [...facts.before, ...turned.before.map(factOn(tubesBefore)), ...ofWindows.before],
      after: [...facts.after, ...turned.after.map(factOn(tubes)), ...ofWindows.after],
    };
    const issued = issues(all, now.book.reissues, cause, everyFact);
    if (now !== own && now.since === null && issued.length === 0 && watch === now.watch) return [];
    return [{ drain, view: now.view, circumstances, chart, watch, issued, advisories }];
  });
  return { changes, rows: own.rows };
}

/**
 * Those whose facts may differ. Most that stand only go on, with other numbers, which no fact holds: raised by the very
 * finding of before, and so with nothing changed up to it.
 */
function turning({ before, after }: DrainChange['advisories']): DrainChange['advisories'] {
  const goesOn = (one: Episode, others: readonly Episode[]): boolean =>
    others.some(
      ({ id, rule, raised, ended_at, drains, reviews }) =>
        id === one.id &&
        rule === one.rule &&
        raised === one.raised &&
        ended_at === one.ended_at &&
        equal(drains, one.drains) &&
        equal(reviews, one.reviews),
    );
  return {
    before: before.filter((one) => !goesOn(one, after)),
    after: after.filter((one) => !goesOn(one, before)),
  };
}

/** Records in the books what was decided, all but the chains. */
export function renew(subject: Subject, changes: readonly DrainChange[]): void {
  for (const { drain, view, circumstances, chart, watch, issued } of changes) {
    const book = subject.get(drain);
    if (book === undefined) throw new Error(`a change of drain ${drain}, whose book is not at hand`);
    Object.assign(book, { view, circumstances, chart, watch });
    for (const { key, version, status } of issued) {
      if (version > 1) book.reissues.set(key, { version, status });
    }
  }
}

const NO_FACTS: FactsChanged = { before: [], after: [] };
const NOTHING_MOVED: Moved = { remove: [], add: [] };

interface Charted {
  readonly book: Book;
  readonly drain: string;
  readonly view: DrainView;
  readonly circumstances: Circumstances;
  readonly chart: Chart;
  readonly watch: Watch;
  readonly since: EpochMs | null;
  readonly everyFact: boolean;
  readonly facts: FactsChanged;
  readonly rows: readonly Row[];
}

function chartedAnew(
  book: Book,
  view: DrainView,
  views: readonly DrainView[],
  moved: Moved,
  { settings }: Policy,
): Charted {
  const { drain, watch } = book;
  const circumstances =
    view === book.view && views.length === 1
      ? book.circumstances
      : circumstancesOf(view, weightsFor(view, views), settings);
  const everyFact = view !== book.view && standsOn(book.view) !== standsOn(view);
  const since = everyFact ? epochMs(-Infinity) : changedSince(book.circumstances, circumstances);
  const isMoved = moved.add.length > 0 || moved.remove.length > 0;
  if (since === undefined && !isMoved && view === book.view) {
    const { chart } = book;
    const unchanged = { since: null, facts: NO_FACTS, rows: [] };
    return { book, drain, view, circumstances, chart, watch, everyFact, ...unchanged };
  }
  const { remove, add } = moved;
  const { chart, since: from, before, after } = refold(book.chart, { remove, add, since }, circumstances);
  const facts = rowFacts(before, after, everyFact);
  return { book, drain, view, circumstances, chart, watch, since: from, everyFact, facts, rows: after };
}

/** What every fact of a drain carries: a change of it changes all of them. */
const standsOn = ({ patient, site }: DrainView): string => JSON.stringify([patient ?? null, site]);

const isPlaced = ({ placedMs }: DrainView): boolean => placedMs !== null;

function sideOf({ book, drain, view, chart, since }: Charted): ChangedSide {
  return {
    drain,
    before: isPlaced(book.view) ? { drain, view: book.view, chart: book.chart } : null,
    after: isPlaced(view) ? { drain, view, chart } : null,
    since,
  };
}
