/** The table that ships with the service. Rows from memory are off. */
import type { RuleTable } from '../domain/vocabulary/rule.ts';
import { ADULT_RULES } from './adult.ts';
import { ANY_DRAIN_RULES } from './any-drain.ts';
import { PAEDIATRIC_RULES } from './paediatric.ts';

export const DEFAULT_TABLE: RuleTable = {
  version: '1',
  rules: [...ADULT_RULES, ...PAEDIATRIC_RULES, ...ANY_DRAIN_RULES],
  // Transfer minimum is 4-hourly: common practice, no source.
  reading_every_h: { adult: 4, paediatric: 4 },
};
