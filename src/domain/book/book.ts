/** The books of one patient's drains: all that deciding on a next entry needs, and nothing else. */

import type { Policy } from '../advisories/policy.ts';
import { raisedIn } from '../advisories/track.ts';
import { NOTHING_WATCHED, type Watch, watched } from '../advisories/watch.ts';
import type { IssueStatus } from '../facts/issue.ts';
import { type Chain, chainAfter, type Item, itemOf } from '../fold/chains.ts';
import { type Chart, EMPTY_CHART, foldAll } from '../fold/chart.ts';
import type { Circumstances } from '../fold/circumstances.ts';
import { circumstancesOf, type DrainView, drainView, isOfWholeDrain, patientKey } from '../fold/drain.ts';
import { newestStatements, type Recent, recentChart } from '../fold/recent-chart.ts';
import type { Weight } from '../fold/weight.ts';
import { BeyondRecent } from '../numbers/history.ts';
import { epochMs } from '../numbers/units.ts';
import type { Entry, Identifier } from '../vocabulary/entry.ts';

export interface Book {
  readonly drain: string;
  /** Sequence number of the newest entry. */
  head: number;
  view: DrainView;
  circumstances: Circumstances;
  chart: Chart;
  /** By the id of the chain's first entry. */
  readonly chains: Map<string, Chain>;
  /** Any member's identifier to the id of its chain's first entry. */
  readonly members: Map<string, string>;
  readonly ofWholeDrain: Map<string, Item>;
  /** What the rules found of which this drain is the home. */
  watch: Watch;
  readonly reissues: Map<string, { readonly version: number; readonly status: IssueStatus }>;
  /** Entries that it no longer holds: 0 of a whole book. Whoever needs one is thrown `BeyondRecent`. */
  readonly left: number;
}

/** Books by drain, of all drains that share a patient with one of them. */
export type Subject = Map<string, Book>;

const identifierKey = ({ system, value }: Identifier): string => `${system}\n${value}`;

export function emptyBook(drain: string, { settings }: Policy): Book {
  const view = drainView(drain, [], settings);
  return {
    drain,
    head: 0,
    view,
    circumstances: circumstancesOf(view, [], settings),
    chart: EMPTY_CHART,
    chains: new Map(),
    members: new Map(),
    ofWholeDrain: new Map(),
    watch: NOTHING_WATCHED,
    reissues: new Map(),
    left: 0,
  };
}

/** @throws {BeyondRecent} where an entry that the book no longer holds may be meant */
export function chainOf(book: Book, member: Identifier): Chain | undefined {
  const first = book.members.get(identifierKey(member));
  if (first === undefined && book.left > 0) throw new BeyondRecent();
  return book.chains.get(first ?? '');
}

/**
 * A book with the newest part of its chart and its sums, which is all that charting in order needs, and all that the
 * rules found. It gives what the whole gives, or throws {@link BeyondRecent}: then the whole is to be read.
 */
export function recentBook(book: Book, part: Recent): Book {
  const raised = [...book.watch.found.values()].flatMap(({ track }) => raisedIn(track));
  const chart = recentChart(book.chart, part, raised);
  if (chart === book.chart) return book;
  const recent = new Set(newestStatements(chart, part.instants).map(({ id }) => id));
  const members = [...book.members].filter(([, first]) => recent.has(first));
  return {
    ...book,
    chart,
    chains: new Map([...book.chains].filter(([first]) => recent.has(first))),
    members: new Map(members),
    left: book.left + book.members.size - members.length,
  };
}

/** Records a chain and its statement in a book; the chart is the caller's to renew. */
export function keepChain(book: Book, chain: Chain, newest: Entry): void {
  const { id } = chain.first;
  book.head = newest.seq;
  book.chains.set(id, chain);
  book.members.set(identifierKey(newest.body.identifier), id);
  const item = itemOf(chain);
  if (item !== undefined && isOfWholeDrain(item)) book.ofWholeDrain.set(id, item);
  else book.ofWholeDrain.delete(id);
}

/** Asks the newest part of books, and all of them where that is not enough: what asks is pure, so it may begin again. */
export function askOf<T>(recent: () => Subject, whole: () => Subject, ask: (subject: Subject) => T): T {
  try {
    return ask(recent());
  } catch (error) {
    if (!(error instanceof BeyondRecent)) throw error;
    return ask(whole());
  }
}

/** A chain that can count for one drain and then for another, with the identifiers of all its entries. */
export interface MovableChain {
  readonly chain: Chain;
  readonly members: readonly Identifier[];
}

export interface MovedChains {
  readonly left: readonly MovableChain[];
  readonly entered: readonly MovableChain[];
}

/** Records that chains no longer count for a drain, and that others do; the chart is the caller's to renew. */
export function moveChains(book: Book, { left, entered }: MovedChains): void {
  for (const { chain, members } of left) {
    book.chains.delete(chain.first.id);
    for (const member of members) book.members.delete(identifierKey(member));
  }
  for (const { chain, members } of entered) {
    book.chains.set(chain.first.id, chain);
    for (const member of members) book.members.set(identifierKey(member), chain.first.id);
  }
}

/** All weights of the patient of a drain, from the views of the drains at hand. */
export function weightsFor(view: DrainView, views: Iterable<DrainView>): Weight[] {
  const key = patientKey(view.patient);
  const all: Weight[] = [];
  for (const other of views) {
    if (other === view || (key !== null && patientKey(other.patient) === key)) all.push(...other.weights);
  }
  return all;
}

/**
 * Opens the books from the ledger.
 * @param ledger the entries that count for each drain in the order of the ledger, as they were accepted
 * @throws {Error} when an entry does not fit those before it: then the ledger is not one this service wrote
 */
export function openBooks(
  ledger: ReadonlyMap<string, readonly Entry[]>,
  reissues: ReadonlyMap<string, Book['reissues']>,
  policy: Policy,
): Subject {
  const { settings } = policy;
  const subject: Subject = new Map();
  for (const [drain, entries] of ledger) {
    const book = emptyBook(drain, policy);
    for (const entry of entries) replay(book, entry);
    for (const [key, issue] of reissues.get(drain) ?? []) book.reissues.set(key, issue);
    book.view = drainView(drain, [...book.ofWholeDrain.values()], settings);
    subject.set(drain, book);
  }
  const views = [...subject.values()].map((book) => book.view);
  for (const book of subject.values()) {
    book.circumstances = circumstancesOf(book.view, weightsFor(book.view, views), settings);
    book.chart = foldAll(
      [...book.chains.values()].flatMap((chain) => itemOf(chain) ?? []),
      book.circumstances,
    );
  }
  const everything = [...subject.values()].map((book) => ({ ...book, since: epochMs(-Infinity) }));
  for (const [drain, { watch }] of watched(everything, policy)) {
    const book = subject.get(drain);
    if (book !== undefined) book.watch = watch;
  }
  return subject;
}

function replay(book: Book, entry: Entry): void {
  const chain = chainAfter(entry, (member) => chainOf(book, member));
  if ('refused' in chain) {
    throw new Error(`entry ${entry.seq} of drain ${entry.drain} does not fit the ledger: ${chain.refused}`);
  }
  keepChain(book, chain, entry);
}
