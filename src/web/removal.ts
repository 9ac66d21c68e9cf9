/** Removal evidence: what was measured beside a published policy's figures; never a recommendation. */
import { figureText } from './amounts.ts';
import type { Criterion, RemovalEvidence, RemovalPolicy } from './answers.ts';
import { askSure, whyNot } from './api.ts';
import { type Child, fill, h } from './dom.ts';
import { wordsFor } from './words.ts';

const STATUS = { met: 'met', 'not-met': 'not met', 'not-known': 'not known' } as const;

export function removalSection(drain: string): HTMLElement {
  const found = h('div', { 'aria-live': 'polite' });
  const select = h('select', { id: 'policy', on: { change: () => void show() } });
  const details = h(
    'details',
    { 'data-key': 'removal', on: { toggle: () => void offer() } },
    h('summary', {}, 'Evidence for removal'),
    h(
      'p',
      { class: 'quiet' },
      'What was measured beside the figures of a policy that you choose. Not a recommendation.',
    ),
    h('label', { for: 'policy' }, 'Policy'),
    select,
    found,
  );

  async function offer(): Promise<void> {
    if (select.options.length > 0) return;
    try {
      const { policies } = await askSure<{ policies: readonly RemovalPolicy[] }>('/v1/removal-policies');
      fill(
        select,
        h('option', { value: '' }, 'choose one'),
        policies.map(({ id, setting }) => h('option', { value: id }, `${id} (${setting})`)),
      );
      fill(found);
    } catch (error) {
      fill(found, whyNot(error));
    }
  }

  async function show(): Promise<void> {
    if (select.value === '') return fill(found);
    const path = `/v1/drains/${drain}/removal-evidence?policy=${select.value}`;
    try {
      fill(found, evidenceView(await askSure<RemovalEvidence>(path)));
    } catch (error) {
      fill(found, whyNot(error));
    }
  }

  return details;
}

function evidenceView({ policy, scope, criteria, outstanding }: RemovalEvidence): Child {
  const differing = scope.filter(({ status }) => status !== 'same');
  return [
    h('p', { class: 'quiet' }, `Source: ${policy.source}.`),
    differing.map(({ about, status }) =>
      h(
        'p',
        { class: 'doubt' },
        `${wordsFor(about)}: ${status === 'differs' ? 'the policy is for others' : 'not stated'}`,
      ),
    ),
    h(
      'ul',
      { class: 'checks' },
      criteria.map((each) =>
        h(
          'li',
          { class: each.status },
          `${wordsFor(each.criterion)}: `,
          h('strong', {}, STATUS[each.status]),
          whyOf(each),
        ),
      ),
    ),
    h('p', {}, h('strong', {}, 'Outstanding: '), `${outstanding.map(wordsFor).join(', ')}.`),
  ];
}

function whyOf(criterion: Criterion): string {
  const { reason, net, drained_and_sampled, at_least = false, limit, entries } = criterion;
  const unit = limit?.unit ?? '';
  const figures =
    net === null || net === undefined
      ? ''
      : ` net ${figureText(net, unit, at_least)}, drained and sampled ${figureText(drained_and_sampled, unit, at_least)} in 24 h; figure ${limit?.operator ?? ''} ${limit?.threshold ?? ''} ${unit}`;
  const why = reason === null ? '' : `, ${wordsFor(reason)}`;
  return `${figures}${why} (${entries.length} ${entries.length === 1 ? 'entry' : 'entries'} behind it)`;
}
