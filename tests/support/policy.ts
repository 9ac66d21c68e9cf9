/** The policy that ships, on a calendar of UTC with days and shifts from 07:00. */

import { ALWAYS, type Policy } from '../../src/domain/advisories/policy.ts';
import type { Calendar } from '../../src/domain/vocabulary/configuration.ts';
import type { RuleTable } from '../../src/domain/vocabulary/rule.ts';
import { DEFAULT_SETTINGS, type Settings } from '../../src/domain/vocabulary/settings.ts';
import { createPolicy } from '../../src/record/policy.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';

export const UTC_CALENDAR: Calendar = { zone: 'UTC', dayStart: 420, shiftStarts: [420, 1140] };

export const policyOf = (
  rules: RuleTable,
  settings: Settings = DEFAULT_SETTINGS,
  calendar: Calendar = UTC_CALENDAR,
): Policy => createPolicy(settings, [{ from: ALWAYS, rules, calendar }]);

export const DEFAULT_POLICY: Policy = policyOf(DEFAULT_TABLE);

/** No rules and no calendar: for what holds of rows, whatever else is made of them. */
export const ROWS_ONLY: Policy = { ...DEFAULT_POLICY, rules: [], windowsOver: () => [] };
