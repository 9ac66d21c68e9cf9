/** Views that hold a form: a new entry, a correction, a withdrawal, a review, an entry that was refused. */

import { reviewedNotice } from './advisories.ts';
import { intervalText } from './amounts.ts';
import type { Advisories, Receipt, State } from './answers.ts';
import { askKept } from './api.ts';
import { serviceNow } from './clock.ts';
import { button, type Child, fill, h } from './dom.ts';
import { askChart } from './drain.ts';
import { valueAt } from './exact.ts';
import { askFacts, type Facts } from './facts.ts';
import { type Field, valueText } from './field.ts';
import type { Content } from './field-set.ts';
import { allFieldsOf } from './fields.ts';
import { entryForm, type FormContext } from './form.ts';
import { kindIn, letGo, type Sent, type Waiting, waiting } from './outbox.ts';
import { refusalText } from './refusal.ts';
import type { ChartRow } from './row-answers.ts';
import { ageText, clockText } from './time.ts';
import { heading, type Place, staleNotice } from './view.ts';
import { drainText, referenceText, wordsFor } from './words.ts';

interface Known {
  readonly facts: Facts;
  readonly state: State;
  readonly rows: readonly ChartRow[];
  readonly since: number | null;
}

async function knownOf(drain: string): Promise<Known> {
  const [facts, state, chart] = await Promise.all([
    askFacts(),
    askKept<State>(`/v1/drains/${drain}/state`),
    askChart(drain),
  ]);
  return { facts, state: state.body, rows: chart.body.rows, since: state.since };
}

export async function enterView(place: Place, drain: string, kind: string): Promise<void> {
  const known = await knownOf(drain);
  show(place, known, `${wordsFor(kind)}`, entryForm(contextOf(place, known, kind, {})));
}

export async function reviewView(place: Place, drain: string, advisory: string): Promise<void> {
  const [known, advisories] = await Promise.all([
    knownOf(drain),
    askKept<Advisories>(`/v1/drains/${drain}/advisories`).catch(() => null),
  ]);
  const about = reviewedNotice(advisories?.body ?? null, advisory, known.facts.zone);
  const form = entryForm(contextOf(place, known, 'reviewed', { fixed: { advisory } }));
  show(place, known, 'Review of an advisory', h('div', {}, about, form));
}

export async function correctView(place: Place, drain: string, entry: string): Promise<void> {
  const known = await knownOf(drain);
  const row = await rowOf(known, entry);
  const { identifier: _identifier, author: _author, as_sent: _sent, kind: _kind, ...charted } = row.charted;
  const content: Content = {
    ...charted,
    effective_at: row.effective_at,
    ...(row.note === null ? {} : { note: row.note }),
  };
  const fixed = row.kind === 'reviewed' ? { advisory: String(row.charted.advisory) } : {};
  const context = contextOf(place, known, row.kind, { target: row.newest_identifier, content, fixed });
  show(place, known, `Correct: ${wordsFor(row.kind).toLowerCase()}`, entryForm(context));
}

export async function voidView(place: Place, drain: string, entry: string): Promise<void> {
  const known = await knownOf(drain);
  const row = await rowOf(known, entry);
  const { system, value } = row.newest_identifier;
  const fixed = { target: { system, value } };
  const about = `${wordsFor(row.kind)} of ${clockText(row.effective_at, known.facts.zone, serviceNow())}, charted by ${referenceText(row.author)}, never was true. This cannot be undone; it stays in the ledger.`;
  const form = entryForm(contextOf(place, known, 'entered-in-error', { fixed }));
  show(place, known, 'Entered in error', h('div', {}, h('p', { class: 'notice' }, about), form));
}

/** An entry that the service did not take, with what was typed, to be mended under its own identifier or let go. */
export async function waitingView(place: Place, id: string): Promise<void> {
  const entry = waiting().find((each) => each.id === id);
  if (entry === undefined) throw new Error('This entry waits no longer.');
  const { drain, words, refused } = entry;
  const known = drain === null ? null : await knownOf(drain);
  const context =
    known === null
      ? placementOf(place, await askFacts(), { id, refused, content: JSON.parse(entry.body) as Content })
      : heldContext(place, known, entry);
  const drop = button('Discard this entry', () => discard(drain, id), { class: 'danger' });
  const fields = allFieldsOf(kindIn(entry));
  const why =
    refused === null
      ? 'Not yet sent.'
      : refusalText(refused, { fields, zone: context.zone, now: serviceNow() });
  const notice = h('p', { class: 'notice' }, why);
  show(place, known, `Not taken: ${words}`, h('div', {}, notice, entryForm(context), drop));
}

function heldContext(place: Place, known: Known, { id, body: text, refused }: Waiting): FormContext {
  const body = JSON.parse(text) as Readonly<Record<string, unknown>>;
  const isCorrection = body.kind === 'corrected';
  const content = (isCorrection ? { ...(body.replacement as object), reason: body.reason } : body) as Content;
  const target = isCorrection ? (body.target as FormContext['target']) : null;
  return contextOf(place, known, String(content.kind), {
    id,
    refused,
    content,
    target,
    fixed: fixedIn(content),
  });
}

function discard(drain: string | null, id: string): void {
  if (!confirm('Discard this entry? What was typed is lost.')) return;
  letGo(id);
  location.hash = drain === null ? '#/' : `#/drain/${drain}`;
}

const fixedIn = ({ advisory, target }: Content): FormContext['fixed'] => ({
  ...(typeof advisory === 'string' ? { advisory } : {}),
  ...(typeof target === 'object' ? { target: target as { system: string; value: string } } : {}),
});

/** Of the last days as a rule; an older one is looked up in the whole chart. */
async function rowOf({ rows, state }: Known, entry: string): Promise<ChartRow> {
  const isWanted = (row: ChartRow): boolean => row.entry === entry;
  const row = rows.find(isWanted) ?? (await askChart(state.drain, true)).body.rows.find(isWanted);
  if (row === undefined) throw new Error('There is no such entry: it may have been withdrawn.');
  return row;
}

export async function placeView(place: Place): Promise<void> {
  show(place, null, 'Place a drain', entryForm(placementOf(place, await askFacts(), {})));
}

const placementOf = (place: Place, facts: Facts, more: Partial<FormContext>): FormContext => ({
  drain: null,
  kind: 'placed',
  unit: null,
  profiles: facts.profiles,
  zone: facts.zone,
  levelNow: null,
  target: null,
  content: null,
  fixed: {},
  id: null,
  refused: null,
  left: place.left,
  lastOf: () => null,
  cancel: () => {
    location.hash = '#/';
  },
  done(sent) {
    place.say(sent.state === 'recorded' ? 'The drain is placed. Set up its unit next.' : '');
    location.hash = sent.state === 'recorded' ? `#/drain/${sent.receipt.drain}/enter/set-up` : '#/';
  },
  ...more,
});

/** @param known of the drain; null where there is none yet */
function show(place: Place, known: Known | null, title: string, form: HTMLElement): void {
  if (place.left.aborted) return;
  fill(place.element, heading(title), known !== null && whoOf(known), form);
}

function whoOf({ state, since, facts }: Known): Child {
  const who = `${drainText(state)} · ${referenceText(state.patient)}`;
  return [h('p', { class: 'quiet' }, who), h('div', {}, staleNotice(since, facts.zone))];
}

function contextOf(place: Place, known: Known, kind: string, more: Partial<FormContext>): FormContext {
  const { facts, state, rows } = known;
  const back = () => {
    location.hash = `#/drain/${state.drain}`;
  };
  return {
    drain: state.drain,
    kind,
    unit: state.unit,
    profiles: facts.profiles,
    zone: facts.zone,
    levelNow: state.level_ml,
    target: null,
    content: null,
    fixed: {},
    id: null,
    refused: null,
    left: place.left,
    lastOf: (field) => lastText(field.path === 'volume_ml' ? ofKind(rows, kind) : rows, field, facts.zone),
    cancel: back,
    done(sent) {
      place.say(doneText(sent));
      back();
    },
    ...more,
  };
}

/** What was put in says nothing of what is taken out: a volume belongs to what was done. */
const ofKind = (rows: readonly ChartRow[], kind: string): readonly ChartRow[] =>
  rows.filter((row) => row.kind === kind);

/** 'last 240, 2 h ago (09:00)'. A level is that of whatever charted one last, a unit change too. */
function lastText(rows: readonly ChartRow[], field: Field, zone: string): string | null {
  const { path } = field;
  const paths = path === 'level_ml' ? ['level_ml', 'new_level_ml', 'opening_level_ml'] : [path];
  for (const row of rows.toReversed()) {
    const value = paths.map((each) => valueAt(row.charted, each)).find((each) => each !== undefined);
    if (value === undefined || typeof value === 'object') continue;
    const now = serviceNow();
    const age = ageText((now - Date.parse(row.effective_at)) / 1000);
    return `last ${valueText(field, String(value))}, ${age} ago (${clockText(row.effective_at, zone, now)})`;
  }
  return null;
}

/** That an entry waits is said above every view for as long as it does. */
function doneText(sent: Sent<Receipt>): string {
  if (sent.state !== 'recorded') return '';
  const interval = sent.receipt.derived?.interval;
  return interval === undefined ? 'Recorded.' : `Recorded: ${intervalText(interval)}.`;
}
