/** What holds for any drain, whoever the patient: pressures, the chamber, a level that fell. */
import type { Rule } from '../domain/rule.ts';
import { ANY_DRAIN, dec, USUAL } from './parts.ts';

const ANY = { ...USUAL, ...ANY_DRAIN, basis: 'one-tube' } as const;

export const ANY_DRAIN_RULES: readonly Rule[] = [
  {
    ...ANY,
    id: 'high-negativity',
    title: 'Total negativity above 20 cm H2O',
    quantity: 'total-negativity',
    unit: 'cm[H2O]',
    operator: '>',
    threshold: dec('20'),
    source: 'no published adult limit found; local policy',
    evidence: 'common practice, no source',
  },
  {
    ...ANY,
    id: 'imposed-below-ordered',
    title: 'Suction shown is below suction ordered',
    quantity: 'imposed-below-ordered',
    unit: 'cm[H2O]',
    operator: '>',
    threshold: dec('0'),
    source: 'Clinical Application of Mechanical Ventilation, 2014, ch. 14 (evaporation lowers the column)',
    evidence: 'abstract or text seen',
  },
  {
    ...ANY,
    id: 'seal-below-fill',
    title: 'Water seal below its fill depth (2 cm on most units)',
    quantity: 'seal-below-fill',
    unit: 'cm[H2O]',
    operator: '>',
    threshold: dec('0'),
    source: 'Clinical Application of Mechanical Ventilation, 2014, ch. 14 (seal of 2 cm)',
    evidence: 'abstract or text seen',
  },
  {
    ...ANY,
    id: 'three-quarters-full',
    title: 'Chamber three quarters full',
    quantity: 'chamber-fill',
    unit: '1',
    operator: '>=',
    threshold: dec('0.75'),
    source: 'Royal Marsden manual of clinical nursing procedures, quoting Woodrow; year not seen',
    evidence: 'secondary text',
  },
  {
    ...ANY,
    id: 'unexplained-fall',
    title: 'Level fell by more than one graduation and no entry explains it',
    quantity: 'unexplained-fall',
    unit: 'mL',
    operator: '>',
    threshold: dec('0'),
    source: 'no source found; local policy',
    evidence: 'common practice, no source',
  },
];
