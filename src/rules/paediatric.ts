/** Output thresholds for children, as published. */
import type { Rule } from '../domain/vocabulary/rule.ts';
import { ANY_DRAIN, closure, dec, mlKg, mlKgH, USUAL } from './parts.ts';

const CHILD = {
  ...USUAL,
  ...ANY_DRAIN,
  populations: ['paediatric'],
  indications: ['cardiac-surgery'],
  basis: 'all-tubes',
  evidence: 'abstract or text seen',
} as const;

const WONG = {
  source: "Wong's Essentials of Pediatric Nursing (Hockenberry et al.), Nursing Alert; year not seen",
  indications: ['cardiac-surgery', 'thoracic-surgery'],
} as const;
const AGARWAL = {
  source: 'Agarwal, Barrett et al., Pediatr Cardiol 2015, n=253',
  clock: closure(0, 12),
  operator: '>=',
} as const;
const BERCOVITZ = {
  source: 'Bercovitz et al., J Thorac Cardiovasc Surg 2018;155:2112-24 (infants under 1 year)',
  operator: '>=',
} as const;

export const PAEDIATRIC_RULES: readonly Rule[] = [
  {
    ...CHILD,
    ...WONG,
    ...mlKgH(4),
    id: 'wong-consecutive',
    title: "More than 3 mL/kg/h for more than 3 consecutive h ('more than 3' is read as 4 whole hours)",
    operator: '>',
    threshold: dec('3'),
  },
  {
    ...CHILD,
    ...WONG,
    ...mlKg(1),
    id: 'wong-1h',
    title: '5 mL/kg or more in any 1 h, the lower of the printed 5-10 mL/kg',
    operator: '>=',
    threshold: dec('5'),
  },
  {
    ...CHILD,
    ...AGARWAL,
    ...mlKgH(1),
    id: 'agarwal-1h',
    title: '10 mL/kg/h for 1 h within 12 h',
    threshold: dec('10'),
  },
  {
    ...CHILD,
    ...AGARWAL,
    ...mlKgH(3),
    id: 'agarwal-3h',
    title: '5 mL/kg/h for 3 consecutive h within 12 h',
    threshold: dec('5'),
  },
  {
    ...CHILD,
    ...BERCOVITZ,
    ...mlKgH(2),
    id: 'bercovitz-2h',
    title: '7 mL/kg/h or more for 2 or more consecutive h within 12 h',
    clock: closure(0, 12),
    threshold: dec('7'),
  },
  {
    ...CHILD,
    ...BERCOVITZ,
    ...mlKg(24),
    id: 'bercovitz-24h',
    title: '84 mL/kg or more in 24 h',
    clock: closure(0, null),
    threshold: dec('84'),
  },
];
