/** Short hand for telling in tests what was charted of an air leak. */
import { airLeakOf } from '../../src/domain/assessment/air-leak.ts';
import { underConditions } from '../../src/domain/fold/conditions.ts';
import type { AirLeak as Charted, Reading } from '../../src/domain/vocabulary/entry.ts';
import { DEFAULT_SETTINGS } from '../../src/domain/vocabulary/settings.ts';
import { bookOf, dec, placed, reading, rowsOf, says, setUp, type Told } from './drain-script.ts';

export const leakOf = (story: readonly Told[]) =>
  airLeakOf(underConditions(rowsOf(story)), bookOf(story).view, DEFAULT_SETTINGS);

/** Suction on, so that values may be compared. */
export const START = [
  placed('00:00'),
  setUp('00:00', 0),
  says('on', '00:00', 'suction-changed', { source: 'on' }),
];

export const clock = (hour: number, minutes = '00'): string => `${String(hour).padStart(2, '0')}:${minutes}`;
export const leak = (time: string, charted: Charted, more: Omit<Reading, 'kind'> = {}): Told =>
  reading(`r${time}`, time, { air_leak: charted, ...more });
export const grade = (time: string, value: number, more: Charted = {}): Told =>
  leak(time, { grade: dec(value), ...more });
/** Grades of successive hours, from an hour on. */
export const grades = (values: readonly number[], from = 1, more: Charted = {}): Told[] =>
  values.map((value, i) => grade(clock(from + i), value, more));
export const flows = (values: readonly number[]): Told[] =>
  values.map((value, i) => leak(clock(1 + i), { flow_ml_min: dec(value) }));
