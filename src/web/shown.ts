/** What the overview and the view of a drain show alike. */
import type { Leak, State } from './answers.ts';
import { type Child, h } from './dom.ts';
import { wordsFor } from './words.ts';

/** A value under its name. @param at of when it is */
export const fact = (name: string, value: Child, at = ''): HTMLElement =>
  h('div', {}, h('dt', {}, name), h('dd', {}, value, at !== '' && h('span', { class: 'quiet' }, ` ${at}`)));

/** The level, with how full the chamber is. */
export function levelText({ level_ml, chamber, unit }: Pick<State, 'level_ml' | 'chamber' | 'unit'>): Child {
  if (unit === null) return 'no unit set up';
  if (level_ml === null) return 'not known';
  if (chamber === null) return `${level_ml} mL`;
  const { capacity_ml, fill_fraction } = chamber;
  return [
    `${level_ml} of ${capacity_ml} mL `,
    h(
      'meter',
      { min: 0, max: 1, value: fill_fraction, 'aria-label': 'Chamber filled' },
      `${Math.round(fill_fraction * 100)} %`,
    ),
  ];
}

export function leakText(leak: Omit<Leak, 'effective_at'> | null): string {
  if (leak === null) return 'not charted';
  if (!leak.leak) return 'none';
  const parts = [
    leak.grade === null
      ? null
      : `grade ${leak.grade}${leak.leak_scale_max === null ? '' : ` of ${leak.leak_scale_max}`}`,
    leak.flow_ml_min === null ? null : `${leak.flow_ml_min} mL/min`,
    leak.phase === null ? null : wordsFor(leak.phase),
  ];
  return parts.filter((part) => part !== null).join(', ');
}
