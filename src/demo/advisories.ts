/** Advisories of a drain: numbered beside the rows that raised them, and told in words below the table. */
import type { advisoriesViewOf } from '../record/advisory-view.ts';
import { wrapped } from './table.ts';
import { timeText } from './time-text.ts';

export type AdvisoriesAnswer = ReturnType<typeof advisoriesViewOf>;
type Advisory = AdvisoriesAnswer['advisories'][number];

/** Numbers of the advisories that a row raised, by the time of the row. */
export function numbersByTime({ advisories }: AdvisoriesAnswer): ReadonlyMap<number, readonly number[]> {
  const numbers = new Map<number, number[]>();
  advisories.forEach(({ raised_at }, i) => {
    const at = Date.parse(raised_at);
    numbers.set(at, [...(numbers.get(at) ?? []), i + 1]);
  });
  return numbers;
}

export function advisoryLines({ advisories, not_assessable }: AdvisoriesAnswer): string[] {
  if (advisories.length === 0 && not_assessable.length === 0) return [];
  return [
    '',
    ...wrapped(
      'For review: what was measured beside published figures. Local policy and the clinician decide.',
    ),
    ...advisories.flatMap((advisory, i) => wrapped(`[${i + 1}] ${told(advisory)}`)),
    ...not_assessable.flatMap(({ title, reason }) =>
      wrapped(`Not assessable: ${title} (${reason.replaceAll('-', ' ')}).`),
    ),
  ];
}

function told({ rule, raised, raised_at, ended_at }: Advisory): string {
  const unit = rule.unit === 'cm[H2O]' ? 'cm H2O' : rule.unit === '1' ? '' : rule.unit;
  const error = raised.uncertainty === null ? '' : ` +/- ${raised.uncertainty}`;
  const value = raised.value === null ? '' : `${raised.at_least ? '>= ' : ''}${raised.value}${error} ${unit}`;
  const sure = raised.within_uncertainty ? ', within its uncertainty' : '';
  const until = ended_at === null ? 'stands' : `until ${timeText(ended_at)}`;
  const measured = value === '' ? '' : ` Measured ${value.trim()}${sure}.`;
  return `${timeText(raised_at)}, ${until}: ${rule.title}.${measured} ${rule.source}; ${rule.evidence}.`;
}
