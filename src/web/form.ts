/** The form of one entry: fields with what they were last, what would follow from it, and saving it. */

import type { Receipt } from './answers.ts';
import type { Fault, Problem } from './api.ts';
import { askAuthor, authorText } from './author.ts';
import { serviceNow } from './clock.ts';
import { button, fill, h } from './dom.ts';
import { draftKey, dropDraft, keepDraft, onDropped, readDraft } from './draft.ts';
import { entryBody } from './entry-body.ts';
import { type Json, valueAt } from './exact.ts';
import { type Content, type FieldSet, type FieldSetOptions, fieldSet, refusedOf } from './field-set.ts';
import { previewer } from './foresee.ts';
import { freshKey, type Sent, send } from './outbox.ts';
import { faultText, fieldOf, refusalText } from './refusal.ts';
import type { Identifier } from './row-answers.ts';
import { MINUTE_MS, momentText } from './time.ts';
import { wordsFor } from './words.ts';

export interface FormContext extends Omit<FieldSetOptions, 'isCorrection'> {
  /** Null for a placement, which makes the drain. */
  readonly drain: string | null;
  /** On the scale in use, mL. */
  readonly levelNow: number | null;
  /** What is corrected; null for a new entry. */
  readonly target: Identifier | null;
  /** What the fields hold at first. */
  readonly content: Content | null;
  /** What the page itself says, such as the advisory that is reviewed. */
  readonly fixed: Readonly<Record<string, Json>>;
  /** The key of an entry that was refused and is sent again. */
  readonly id: string | null;
  /** Why it was. */
  readonly refused: Problem | null;
  /** Aborted when the form is left. */
  readonly left: AbortSignal;
  done(sent: Sent<Receipt & { readonly drain: string }>): void;
  cancel(): void;
}

const PREVIEW_MS = 350;

export function entryForm(context: FormContext): HTMLElement {
  const { kind, drain, zone, target } = context;
  const id = context.id ?? freshKey();
  const fields = fieldSet({ ...context, isCorrection: target !== null });
  const preview = h('div', { 'aria-live': 'polite' }, untold());
  const faults = h('div', { class: 'faults', role: 'alert' });
  const typedUnder = draftKeyOf(context);
  const draft = typedUnder === null ? null : readDraft(typedUnder);
  fields.show({ effective_at: thisMinute(zone) });
  fields.show(context.content ?? draft ?? {});
  if (context.content === null && draft === null) keepTime(fields, zone);
  const bodyBy = (author: string, content: Record<string, Json>) =>
    entryBody({ id, kind, author, zone, target }, { ...content, ...context.fixed });

  const foresee = previewer(context, preview, () => bodyBy(authorText() ?? 'preview', fields.content()));
  const onInput = later(() => {
    if (typedUnder !== null) keepDraft(typedUnder, fields.content());
    void foresee(fields);
  });
  if (context.content !== null || draft !== null) onInput();
  if (context.refused !== null) markRefused(context.refused, fields, zone);

  const submit = async (event: Event): Promise<void> => {
    event.preventDefault();
    await save({ context, id, typedUnder, fields, faults, bodyBy });
  };
  return h(
    'form',
    { class: 'entry', novalidate: true, on: { input: onInput, submit: (event) => void submit(event) } },
    typedUnder !== null && draftHint(typedUnder, draft !== null, context.left),
    fields.elements,
    drain !== null && previewSection(preview),
    faults,
    actionsOf(context),
  );
}

const actionsOf = ({ target, cancel }: FormContext): HTMLElement =>
  h(
    'p',
    { class: 'actions' },
    h('button', { class: 'main', type: 'submit' }, target === null ? 'Save' : 'Save the correction'),
    button('Cancel', cancel),
  );

function draftHint(key: string, isBack: boolean, left: AbortSignal): HTMLElement {
  const words = isBack ? 'What was typed here before is back. Check the time.' : '';
  const hint = h('p', { class: 'hint', role: 'status' }, words);
  onDropped(key, left, () => {
    hint.textContent = 'Saved or cleared in another window: look at the chart before you save this.';
  });
  return hint;
}

/** Null for what is no new entry of a drain: a correction, a refused entry and a placement keep no draft, and touch none. */
function draftKeyOf({ drain, kind, target, id, fixed }: FormContext): string | null {
  if (drain === null || target !== null || id !== null) return null;
  const about = valueAt(fixed, 'advisory') ?? valueAt(fixed, 'target.value') ?? null;
  return draftKey({ drain, kind, about: about === null ? null : String(about) });
}

const thisMinute = (zone: string): string =>
  momentText(Math.floor(serviceNow() / MINUTE_MS) * MINUTE_MS, zone);

/** The time goes on while nobody has set it: a form may lie open for a while before somebody charts. */
function keepTime(fields: FieldSet, zone: string): void {
  const [times] = fields.elements;
  let isSet = false;
  times?.addEventListener('input', () => {
    isSet = true;
  });
  const timer = setInterval(() => {
    if (isSet || times?.isConnected !== true) clearInterval(timer);
    else fields.show({ effective_at: thisMinute(zone) });
  }, MINUTE_MS / 4);
}

const untold = (): HTMLElement => h('p', { class: 'hint' }, 'What follows is shown here as you type.');

const previewSection = (preview: HTMLElement): HTMLElement =>
  h(
    'section',
    { class: 'preview', 'aria-labelledby': 'preview-title' },
    h('h2', { id: 'preview-title' }, 'Before you save'),
    preview,
  );

/** Calls once, a little after the last of several calls. */
function later(work: () => void): () => void {
  let timer: ReturnType<typeof setTimeout> | undefined;
  return () => {
    clearTimeout(timer);
    timer = setTimeout(work, PREVIEW_MS);
  };
}

interface Saving {
  readonly context: FormContext;
  readonly id: string;
  /** Where what is typed is kept; null where it is not. */
  readonly typedUnder: string | null;
  readonly fields: FieldSet;
  readonly faults: HTMLElement;
  bodyBy(author: string, content: Record<string, Json>): string;
}

async function save({ context, id, typedUnder, fields, faults, bodyBy }: Saving): Promise<void> {
  const { drain, kind, target } = context;
  fill(faults);
  const content = fields.checked();
  if (content === null) return;
  const author = await askAuthor();
  if (author === null) return;
  const words = target === null ? wordsFor(kind) : `Correction: ${wordsFor(kind)}`;
  const path = drain === null ? '/v1/drains' : `/v1/drains/${drain}/entries`;
  try {
    const sent = await send<Receipt & { readonly drain: string }>({
      id,
      path,
      words,
      drain,
      body: bodyBy(author, content),
    });
    if (sent.state === 'refused') return showRefused(sent.problem, fields, faults, context.zone);
    if (typedUnder !== null) dropDraft(typedUnder);
    context.done(sent);
  } catch (error) {
    fill(faults, h('p', {}, `This browser cannot keep the entry, so it was not sent. ${error}`));
  }
}

/** Each fault at its field, of which the first gets the focus; what belongs to none stands above the buttons. */
function showRefused(problem: Problem, fields: FieldSet, faults: HTMLElement, zone: string): void {
  const { marked, rest } = markRefused(problem, fields, zone);
  const words = [
    'Not saved: the service does not take this entry as it is.',
    marked.length > 0 && 'What is wrong stands at its field.',
    rest,
  ];
  fill(
    faults,
    words.map((each) => each !== false && each !== null && h('p', {}, each)),
  );
  marked[0]?.focus();
}

/** @returns the fields that have a fault, unfolded, in their order; and in words what belongs to none */
function markRefused(problem: Problem, fields: FieldSet, zone: string) {
  const views = fields.views();
  const refused = refusedOf(fields, zone);
  const { errors = [] } = problem;
  const viewOf = (fault: Fault) => views.find(({ field }) => field === fieldOf(fault, refused.fields));
  for (const fault of errors) viewOf(fault)?.fault(faultText(fault, refused));
  const bad = errors.map(viewOf);
  const rest = errors.filter((_, n) => bad[n] === undefined);
  return {
    marked: views.filter((view) => bad.includes(view)),
    rest: rest.length > 0 || errors.length === 0 ? refusalText({ ...problem, errors: rest }, refused) : null,
  };
}
