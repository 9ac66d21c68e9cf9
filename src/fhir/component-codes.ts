/** Parts of a fact that stand beside its value: one row a part. */
import type { ComponentName } from '../domain/vocabulary/fact.ts';
import type { Unit } from './codings.ts';

export interface ComponentCode {
  readonly display: string;
  readonly definition: string;
  /** Where a fact does not say otherwise. */
  readonly unit: Unit;
}

export const COMPONENT_CODES: Readonly<Record<ComponentName, ComponentCode>> = {
  drained: { display: 'Drained into the chamber', definition: 'Rise of the level, mL.', unit: 'mL' },
  sampled: { display: 'Sampled', definition: 'Taken out before the chamber, mL.', unit: 'mL' },
  instilled: { display: 'Instilled', definition: 'Put in through the tube, mL.', unit: 'mL' },
  'net-low': { display: 'Lower bound of net', definition: 'Whole intervals only, mL.', unit: 'mL' },
  'net-high': {
    display: 'Upper bound of net',
    definition: 'Intervals cut by the window edge counted whole, mL.',
    unit: 'mL',
  },
  coverage: {
    display: 'Coverage',
    definition: 'Part of the window that measured intervals cover, 0 to 1.',
    unit: '1',
  },
  'open-time-rate': {
    display: 'Rate over unclamped time',
    definition: 'Net drainage per hour that the tube was not clamped, mL/h.',
    unit: 'mL/h',
  },
  'sum-of-measured-intervals': {
    display: 'Sum of the measured intervals',
    definition: 'Net over measured intervals only; not a total, mL.',
    unit: 'mL',
  },
  'suspect-volume': {
    display: 'Volume in doubt',
    definition: 'Drained in intervals whose rise a later fall contradicts; not in the sum, mL.',
    unit: 'mL',
  },
  'negativity-low': {
    display: 'Lower end of total negativity',
    definition: 'Positive magnitude, cm H2O.',
    unit: 'cm[H2O]',
  },
  'negativity-high': {
    display: 'Upper end of total negativity',
    definition: 'Positive magnitude, cm H2O.',
    unit: 'cm[H2O]',
  },
  uncertainty: {
    display: 'Expanded uncertainty',
    definition: 'Reading error of the volume, k = 2 (JCGM 100:2008), mL.',
    unit: 'mL',
  },
  'rate-uncertainty': {
    display: 'Expanded uncertainty of the rate',
    definition: 'Reading error, k = 2, mL/h.',
    unit: 'mL/h',
  },
  'rate-per-kg-uncertainty': {
    display: 'Expanded uncertainty of the weight-indexed rate',
    definition: 'Reading error of the volume, k = 2; not that of the weight, mL/kg/h.',
    unit: 'mL/kg/h',
  },
  'rule-value': {
    display: 'Value found',
    definition: 'What was found, in the unit of the rule, with enough digits to show the crossing.',
    unit: '1',
  },
  'rule-threshold': { display: 'Threshold', definition: 'Of the rule, in its unit.', unit: '1' },
  'rule-net': {
    display: 'Net value found',
    definition: 'Drained + sampled - instilled, in the unit of the rule.',
    unit: '1',
  },
  'rule-uncertainty': {
    display: 'Expanded uncertainty of the value found',
    definition: 'Reading error, k = 2, in the unit of the rule.',
    unit: '1',
  },
  'weight-used': {
    display: 'Body weight used',
    definition: 'Weight that the rate was divided by, kg.',
    unit: 'kg',
  },
};
