/** Kinds of collection unit and what is said of one: one row a code. */
import type { DeviceType } from '../domain/devices/device.ts';
import type { UnitKind } from '../domain/vocabulary/unit-profile.ts';
import type { Unit } from './codings.ts';

export type UnitProperty = 'capacity' | 'leak-scale-maximum' | 'seal-fill';

interface UnitCode {
  readonly display: string;
  readonly definition: string;
}

export const UNIT_KINDS = {
  gravity: {
    display: 'Gravity drainage unit',
    definition: 'Collection unit with a water seal or valve that imposes no suction.',
  },
  'wet-suction': {
    display: 'Wet-suction drainage unit',
    definition: 'Collection unit whose suction is set by the height of a water column.',
  },
  'dry-suction': {
    display: 'Dry-suction drainage unit',
    definition: 'Collection unit whose suction is set by a dial and shown by an indicator.',
  },
  electronic: {
    display: 'Electronic drainage unit',
    definition: 'Collection unit that makes suction itself and measures pressure by a sensor.',
  },
} as const satisfies Readonly<Record<UnitKind, UnitCode>>;

/** What staff register. */
export const REGISTERED_TYPES = {
  'collection-unit': {
    display: 'Collection unit',
    definition: 'Unit that collects what a chest drain yields, registered to chart by itself.',
  },
  monitor: {
    display: 'Monitor',
    definition:
      'Monitor or gateway that charts what it reads on a collection unit, registered to chart by itself.',
  },
} as const satisfies Readonly<Record<DeviceType, UnitCode>>;

export const UNIT_PROPERTIES = {
  capacity: { display: 'Capacity', definition: 'Highest level that the chamber can show, mL.', unit: 'mL' },
  'leak-scale-maximum': {
    display: 'Highest air-leak grade',
    definition: 'Highest grade of the ordinal leak scale of the unit; grades start at 0 for no leak.',
    unit: '1',
  },
  'seal-fill': {
    display: 'Seal fill level',
    definition: 'Depth to which the water seal is filled, positive magnitude, cm H2O.',
    unit: 'cm[H2O]',
  },
} as const satisfies Readonly<Record<UnitProperty, UnitCode & { readonly unit: Unit }>>;

export const UNIT_CODES = { ...UNIT_KINDS, ...REGISTERED_TYPES, ...UNIT_PROPERTIES };
