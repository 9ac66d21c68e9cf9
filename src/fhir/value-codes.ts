/**
 * Values of facts that are codes: one row a value. The wire names each by its fact, as in `tidaling-present`.
 * Definitions: common practice, no source.
 */
import type { FluidCharacter, Instilled, LeakPhase, Reading, Suction } from '../domain/vocabulary/entry.ts';
import type { ObservationName } from '../domain/vocabulary/fact.ts';

interface ValueCode {
  readonly display: string;
  readonly definition: string;
  /** Place on an ordinal scale. */
  readonly ordinal?: number;
}

type Values<T extends string> = Readonly<Record<T, ValueCode>>;

const PHASES: Values<LeakPhase> = {
  none: { display: 'No air leak', definition: 'No air leak was seen.' },
  'forced-expiratory': {
    display: 'Forced expiratory',
    definition: 'Air leaks only on forced expiration, as in coughing.',
  },
  expiratory: { display: 'Expiratory', definition: 'Air leaks on expiration.' },
  inspiratory: { display: 'Inspiratory', definition: 'Air leaks on inspiration.' },
  continuous: { display: 'Continuous', definition: 'Air leaks all through breathing.' },
};

const TIDALING: Values<NonNullable<Reading['tidaling']>> = {
  present: { display: 'Present', definition: 'The water seal swings with breathing.' },
  absent: { display: 'Absent', definition: 'The water seal does not swing with breathing.' },
  'not-assessed': { display: 'Not assessed', definition: 'Nobody looked whether the water seal swings.' },
};

const CHARACTERS: Values<FluidCharacter> = {
  serous: { display: 'Serous', definition: 'Clear or straw-coloured.' },
  serosanguineous: { display: 'Serosanguineous', definition: 'Serous and tinged with blood.' },
  sanguineous: { display: 'Sanguineous', definition: 'Bloody.' },
  chylous: { display: 'Chylous', definition: 'Milky.' },
  purulent: { display: 'Purulent', definition: 'Like pus.' },
  other: { display: 'Other', definition: 'None of the others; words may stand in a note.' },
};

const SOURCES: Values<NonNullable<Suction['source']>> = {
  on: { display: 'On', definition: 'The source of suction is on.' },
  off: { display: 'Off', definition: 'The source of suction is off, or none is connected.' },
};

const BUBBLING: Values<NonNullable<Suction['bubbling']>> = {
  none: { display: 'None', definition: 'The suction column does not bubble.' },
  gentle: { display: 'Gentle', definition: 'The suction column bubbles gently.' },
  vigorous: { display: 'Vigorous', definition: 'The suction column bubbles vigorously.' },
};

const INDICATOR: Values<NonNullable<Suction['indicator']>> = {
  'in-range': { display: 'In range', definition: 'The indicator shows that suction reaches what is set.' },
  'out-of-range': {
    display: 'Out of range',
    definition: 'The indicator shows that suction does not reach what is set.',
  },
  'not-assessed': { display: 'Not assessed', definition: 'Nobody looked at the indicator.' },
};

const PURPOSES: Values<Instilled['purpose']> = {
  flush: { display: 'Flush', definition: 'To keep the tube open.' },
  fibrinolytic: { display: 'Fibrinolytic', definition: 'A fibrinolytic.' },
  sclerosant: { display: 'Sclerosant', definition: 'A sclerosant.' },
  other: { display: 'Other', definition: 'For none of the other purposes.' },
};

/** The highest that may be charted (intake/native/quantity.ts). */
const HIGHEST_GRADE = 100;

const GRADES: Values<string> = Object.fromEntries(
  Array.from({ length: HIGHEST_GRADE + 1 }, (_, grade) => [
    String(grade),
    {
      display: `Grade ${grade}`,
      definition: `${grade} on the leak scale of the unit${grade === 0 ? ': no air leak' : ''}; has meaning within that scale only.`,
      ordinal: grade,
    },
  ]),
);

/** By fact, or by the code under which a value comes in that is issued as none (raw-codes.ts). */
export const VALUE_CODES: Readonly<Record<string, Values<string>>> = {
  'air-leak-grade': GRADES,
  'air-leak-phase': PHASES,
  tidaling: TIDALING,
  'fluid-character': CHARACTERS,
  'suction-source': SOURCES,
  'suction-bubbling': BUBBLING,
  'suction-indicator': INDICATOR,
  'instilled-purpose': PURPOSES,
};

/** @throws {Error} for a value that has no row */
export function displayOf(name: ObservationName, code: string): string {
  const row = VALUE_CODES[name]?.[code];
  if (row === undefined) throw new Error(`${code} is no value of ${name}`);
  return row.display;
}
