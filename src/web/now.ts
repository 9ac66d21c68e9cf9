/** Where a drain stands, value by value, each with when it is of. */

import { cumulativeText, intervalText, negativityText, windowText } from './amounts.ts';
import type { State } from './answers.ts';
import { serviceNow } from './clock.ts';
import { type Child, h, unseen } from './dom.ts';
import type { Window } from './row-answers.ts';
import { fact, leakText, levelText } from './shown.ts';
import { ageText, clockText } from './time.ts';
import { wordsFor } from './words.ts';

const WINDOW_HOURS = [1, 4, 8, 12, 24];

export function nowSection(state: State, zone: string): HTMLElement {
  const now = serviceNow();
  const { last_reading: reading, last_volumes: volumes } = state;
  const of = (row: { readonly effective_at: string } | null): string =>
    row === null ? '' : clockText(row.effective_at, zone, now);
  const isIn = state.removed_at === null;
  return h(
    'section',
    { 'aria-labelledby': 'now' },
    h('h2', { id: 'now' }, 'Now'),
    lastRead(state, of(reading)),
    h(
      'dl',
      { class: 'facts wide' },
      isIn && fact('Level', levelOf(state)),
      fact(
        'Last interval',
        volumes?.interval === undefined ? 'none yet' : intervalText(volumes.interval),
        of(volumes),
      ),
      fact(
        'Cumulative',
        volumes?.cumulative === undefined ? 'none yet' : cumulativeText(volumes.cumulative),
        of(volumes),
      ),
      fact('Trailing', windowsOf(volumes?.windows ?? []), of(volumes)),
      fact('Total negativity', ...negativityOf(state, of)),
      fact('Air leak', leakOf(state), of(state.air_leak.newest)),
      isIn && fact('Swing', swingOf(state)),
      isIn && fact('Tube', tubeOf(state, zone)),
      state.devices.length > 0 && fact('Devices', devicesOf(state, zone)),
    ),
    interimNote(state),
    setUpSection(state),
  );
}

function lastRead({ last_reading: reading, overdue }: State, at: string): HTMLElement {
  const words = reading === null ? 'Not read yet' : `Last read ${ageText(reading.age_s)} ago, ${at}`;
  if (overdue === null) return h('p', { class: reading === null ? undefined : 'quiet' }, `${words}.`);
  return h('p', { class: 'overdue' }, `${words}: expected every ${overdue.expected_every_h} h`);
}

function levelOf(state: State): Child {
  const value_h = state.chamber?.time_to_full.value_h ?? null;
  return [levelText(state), value_h !== null && `full in about ${aboutText(value_h)} at this rate`];
}

/** No finer than it can be known: the rate will not stay as it is. @param value_h to 0.1 h */
function aboutText(value_h: number): string {
  if (value_h >= 48) return `${Math.round(value_h / 24)} days`;
  return `${value_h < 10 ? value_h : Math.round(value_h)} h`;
}

const windowsOf = (windows: readonly Window[]): Child =>
  h(
    'ul',
    { class: 'plain' },
    WINDOW_HOURS.map((hours) =>
      h('li', {}, `${hours} h: ${windowText(windows.find((each) => each.hours === hours))}`),
    ),
  );

/** As it stands; of a drain that is out, and beside what is not known any more, as it was read last. */
function negativityOf(
  { total_negativity: now, last_total_negativity: last, removed_at }: State,
  of: (row: { readonly effective_at: string } | null) => string,
): [Child, string] {
  const before = last?.total_negativity;
  if (before === undefined) return ['not charted', ''];
  if (removed_at !== null || now === null) return [negativityText(before), of(last)];
  if (now.reason === before.reason) return [negativityText(now), of(last)];
  const earlier = h('p', { class: 'quiet' }, `before: ${negativityText(before)}, ${of(last)}`);
  return [[`${negativityText(now)} (${of({ effective_at: now.at })})`, earlier], ''];
}

function leakOf({ air_leak: { newest, grade_trend: trend, leak_free: free } }: State): Child {
  const parts = [
    leakText(newest),
    newest === null
      ? null
      : `trend: ${wordsFor(trend.trend)}${trend.reason === null ? '' : ` (${wordsFor(trend.reason)})`}`,
    free.value_h === null || free.value_h === 0 ? null : `none seen for ${free.value_h} h`,
  ];
  return parts.filter((part) => part !== null).join('; ');
}

function swingOf({ patency }: State): Child {
  if (patency === null || patency.swing === null)
    return patency?.reason === 'mediastinal-site' ? wordsFor(patency.reason) : 'not charted';
  return patency.swing_lost === true ? h('strong', {}, 'absent, was present before') : patency.swing;
}

function tubeOf({ clamped_since, suction_source }: State, zone: string): Child {
  const suction = suction_source === null ? 'suction not charted' : `suction ${suction_source}`;
  if (clamped_since === null) return `open, ${suction}`;
  return [h('strong', {}, `clamped since ${clockText(clamped_since, zone, serviceNow())}`), `, ${suction}`];
}

const devicesOf = ({ devices }: State, zone: string): Child =>
  h(
    'ul',
    { class: 'plain' },
    devices.map(({ identifier, type, since }) =>
      h('li', {}, `${wordsFor(type)} ${identifier.value}, since ${clockText(since, zone, serviceNow())}`),
    ),
  );

function interimNote({ unit }: State): Child {
  const every = unit?.charted_every_min;
  if (every === undefined) return null;
  const words = `Of what a device reads, one is charted every ${every} min; those in between are kept as interim and not shown here.`;
  return h('p', { class: 'quiet' }, words);
}

const CHECKS = [
  ['seal_filled', 'Seal filled'],
  ['suction_proven', 'Suction proven'],
  ['connections_checked', 'Connections checked'],
] as const;
const SIGNS = { done: '✓', missing: '?', 'not-applicable': '–' } as const;
type Status = keyof typeof SIGNS;
const STATUS = { done: 'charted', missing: 'missing', 'not-applicable': 'not needed' } as const;

/** Suction of which nothing was charted is not known to be off. */
function statusText(key: keyof NonNullable<State['set_up_check']>, status: Status, state: State): string {
  const canBeOn = state.unit?.kind === 'wet-suction' || state.unit?.kind === 'dry-suction';
  const isUnknown = key === 'suction_proven' && state.suction_source === null && canBeOn;
  return status === 'not-applicable' && isUnknown ? 'suction not charted' : STATUS[status];
}

function setUpSection(state: State): Child {
  const { set_up_check: check } = state;
  if (check === null) return null;
  return h(
    'section',
    { 'aria-labelledby': 'set-up-check' },
    h('h3', { id: 'set-up-check' }, 'Set-up of the unit in use'),
    h(
      'ul',
      { class: 'checks' },
      CHECKS.map(([key, words]) => {
        const { status } = check[key];
        const sign = h('span', { class: 'sign', 'aria-hidden': 'true' }, SIGNS[status]);
        return h(
          'li',
          { class: status },
          sign,
          `${words}: `,
          h('strong', {}, statusText(key, status, state)),
        );
      }),
    ),
    unseen('What is missing can be charted with the next reading or a set-up.'),
  );
}
