/** Asks the service what an entry would give while it is typed, and shows the answer. */
import type { DryRun, Receipt } from './answers.ts';
import { NoAnswer, type Problem, post } from './api.ts';
import { type Child, fill, h, link } from './dom.ts';
import { valueAt } from './exact.ts';
import { type FieldSet, refusedOf } from './field-set.ts';
import { questionOf, receiptView } from './preview.ts';
import { refusalText } from './refusal.ts';
import { wordsFor } from './words.ts';

interface Foreseeing {
  /** Null for a placement, of which nothing follows. */
  readonly drain: string | null;
  /** On the scale in use, mL. */
  readonly levelNow: number | null;
  readonly zone: string;
}

/** Shows what the service says would follow; an answer that a later one has overtaken is dropped. */
export function previewer(context: Foreseeing, place: HTMLElement, body: () => string) {
  const { drain } = context;
  let newest = 0;
  return async (fields: FieldSet): Promise<void> => {
    if (drain === null) return;
    newest += 1;
    const mine = newest;
    const shown = await foreseen(`/v1/drains/${drain}/entries?dry-run=true`, body(), fields, context);
    if (mine === newest) fill(place, shown);
  };
}

async function foreseen(path: string, body: string, fields: FieldSet, context: Foreseeing): Promise<Child> {
  try {
    const reply = await post<DryRun | Receipt>(path, body);
    if (!reply.ok) return notWorkedOut(reply.problem, fields, context.zone);
    if (!('dry_run' in reply.body)) return h('p', {}, 'This entry is recorded already.');
    const { receipt } = reply.body;
    const level = Number(valueAt(fields.content(), 'level_ml.digits') ?? Number.NaN);
    const asked =
      receipt.derived === null || Number.isNaN(level)
        ? null
        : questionOf(receipt.derived, context.levelNow, level);
    return [
      asked === null ? null : h('p', { class: 'question' }, asked.words),
      asked !== null &&
        asked.instead.length > 0 &&
        h(
          'p',
          { class: 'actions' },
          asked.instead.map((kind) =>
            link(`${wordsFor(kind)}…`, `#/drain/${context.drain}/enter/${kind}`, 'button'),
          ),
        ),
      receiptView(receipt),
    ];
  } catch (error) {
    if (!(error instanceof NoAnswer)) throw error;
    return h('p', { class: 'hint' }, 'No connection: what follows is worked out once the entry is sent.');
  }
}

/** What is missing is asked for when it is saved; what is wrong is told at once. */
function notWorkedOut(problem: Problem, fields: FieldSet, zone: string): Child {
  const errors = problem.errors?.filter(({ pointer, value }) => pointer !== '' && value !== undefined) ?? [];
  if (errors.length === 0) return h('p', { class: 'hint' }, 'Worked out once what is needed is there.');
  return h('p', { class: 'question' }, refusalText({ ...problem, errors }, refusedOf(fields, zone)));
}
