/** Advisories of a drain: what crossed which published figure, who has reviewed it, and what could not be judged. */

import type { Advisories, Advisory } from './answers.ts';
import { serviceNow } from './clock.ts';
import { type Child, h, link } from './dom.ts';
import { clockText } from './time.ts';
import { referenceText, unitText, wordsFor } from './words.ts';

export function advisoriesSection(
  drain: string,
  { advisories, not_assessable }: Advisories,
  zone: string,
): HTMLElement {
  const standing = advisories.filter(({ ended_at }) => ended_at === null);
  const ended = advisories.filter(({ ended_at }) => ended_at !== null).reverse();
  const unknown = [
    ...new Map(not_assessable.filter(({ now }) => now).map((each) => [each.title, each])).values(),
  ];
  const items = (of: readonly Advisory[]) => of.map((advisory) => item(drain, advisory, zone));
  return h(
    'section',
    { 'aria-labelledby': 'advisories' },
    h('h2', { id: 'advisories' }, 'For review'),
    h('p', { class: 'quiet' }, 'Published or local figures that the data crossed. Not an alarm.'),
    standing.length === 0 ? h('p', {}, 'None stands.') : h('ul', { class: 'advisories' }, items(standing)),
    ended.length > 0 &&
      h(
        'details',
        { 'data-key': 'ended' },
        h('summary', {}, `Ended (${ended.length})`),
        h('ul', { class: 'advisories' }, items(ended)),
      ),
    unknown.length > 0 &&
      h(
        'details',
        { 'data-key': 'unknown' },
        h('summary', {}, `Could not be judged (${unknown.length})`),
        h(
          'ul',
          {},
          unknown.map(({ title, reason }) => h('li', {}, `${title}: ${wordsFor(reason)}`)),
        ),
      ),
  );
}

/** What is reviewed, above the words about it. @param advisories null where they cannot be asked for now */
export function reviewedNotice(advisories: Advisories | null, id: string, zone: string): HTMLElement {
  const advisory = advisories?.advisories.find((each) => each.id === id);
  if (advisory === undefined)
    return h('p', { class: 'notice' }, 'What is reviewed cannot be shown now: go back to see it.');
  return h(
    'div',
    { class: 'notice' },
    h('strong', {}, advisory.rule.title),
    h('p', {}, sinceText(advisory, zone)),
  );
}

function sinceText(advisory: Advisory, zone: string): string {
  const { raised_at, ended_at } = advisory;
  const now = serviceNow();
  const until = ended_at === null ? '' : `, ended ${clockText(ended_at, zone, now)}`;
  const value = valueText(advisory);
  return `${value === null ? '' : `${value}. `}Since ${clockText(raised_at, zone, now)}${until}.`;
}

function item(drain: string, advisory: Advisory, zone: string): HTMLElement {
  const { id, rule, newest, reviews } = advisory;
  const now = serviceNow();
  return h(
    'li',
    { class: reviews.length > 0 ? 'seen' : undefined },
    h('strong', {}, rule.title),
    h('p', {}, sinceText(advisory, zone)),
    newest.water_to_add_cmh2o !== null && h('p', {}, `Water to add: ${newest.water_to_add_cmh2o} cmH2O.`),
    h('p', { class: 'quiet' }, `Source: ${rule.source} (${rule.evidence}).`),
    reviews.map(
      ({ words, author, at }): Child =>
        h(
          'p',
          { class: 'review' },
          `Reviewed ${clockText(at, zone, now)} by ${referenceText(author)}: ${words}`,
        ),
    ),
    h(
      'p',
      { class: 'actions' },
      link('Review', `#/drain/${drain}/review/${encodeURIComponent(id)}`, 'button'),
    ),
  );
}

/** Null where what was seen is no number: a figure beside it would say nothing. */
function valueText({ rule, newest }: Advisory): string | null {
  const { value, uncertainty, within_uncertainty, at_least } = newest;
  const unit = unitText(rule.unit);
  if (value === null) return null;
  const figure = `${rule.operator} ${rule.threshold} ${unit}`.trim();
  const error = uncertainty === null || uncertainty === 0 ? '' : ` ± ${uncertainty}`;
  const how = within_uncertainty ? ', within the error of reading' : '';
  return `${at_least ? 'At least ' : ''}${value}${error} ${unit}`.trim().concat(`, figure ${figure}${how}`);
}
