/**
 * The rule table as configuration: what ships with the service, with what a facility's file changes of it.
 * The file may switch rows on or off, change their numbers, and add rows of its own; nothing else.
 */
import { z } from 'zod';
import { Decimal } from '../domain/numbers/decimal.ts';
import type { Rule, RuleTable } from '../domain/vocabulary/rule.ts';
import { parseExactJson } from '../json/exact-json.ts';
import { DEFAULT_TABLE } from '../rules/default-table.ts';
import {
  chamber,
  hours,
  leakDays,
  pressure,
  rate,
  stopping,
  threshold,
  volume,
  wholeHours,
  words,
} from '../rules/row-schema.ts';
import { BadFile, readJson } from './json-file.ts';

const localRow = z.discriminatedUnion('quantity', [volume, rate, pressure, chamber, leakDays, stopping]);

const change = z.strictObject({
  id: z.string(),
  on: z.boolean().optional(),
  threshold: threshold.optional(),
  window_h: hours.optional(),
  consecutive_h: wholeHours.optional(),
  max_gap_h: hours.optional(),
  steady_h: hours.optional(),
  steady_ml_h: threshold.optional(),
});
type Change = z.infer<typeof change>;

const file = z.strictObject({
  version: words,
  reading_every_h: z.strictObject({ adult: hours.optional(), paediatric: hours.optional() }).optional(),
  changes: z.array(z.unknown()).optional(),
  local: z.array(z.unknown()).optional(),
});

/** @throws {BadFile} naming all that is wrong in the file */
export function readRules(path: string): RuleTable {
  const sent = readJson(path, (text) =>
    parseExactJson(text, (digits) => Decimal.parse(digits) ?? { digits }),
  );
  const faults: string[] = [];
  const read = partly(file, sent, '', faults);
  const changes = listIn(sent, 'changes').map((each, n) => partly(change, each, `/changes/${n}`, faults));
  const local = listIn(sent, 'local').map((each, n) => partly(localRow, each, `/local/${n}`, faults));
  faults.push(...changeFaults(changes), ...idFaults(local.map((each) => each?.id)));
  if (read === null || faults.length > 0) {
    throw new BadFile(faults.map((fault) => `${path}: ${fault}`).join('\n'));
  }
  const changed = DEFAULT_TABLE.rules.map((rule) =>
    changedBy(
      rule,
      changes.find((each) => each?.id === rule.id),
    ),
  );
  const added = local.flatMap((each) =>
    each === null ? [] : { ...each, evidence: 'local' as const, changed: [] },
  );
  const { adult, paediatric } = { ...DEFAULT_TABLE.reading_every_h, ...given(read.reading_every_h ?? {}) };
  return { version: read.version, rules: [...changed, ...added], reading_every_h: { adult, paediatric } };
}

/** The items of a list, whatever is wrong beside it. */
function listIn(sent: unknown, name: 'changes' | 'local'): readonly unknown[] {
  const list =
    typeof sent === 'object' && sent !== null ? (sent as Readonly<Record<string, unknown>>)[name] : [];
  return Array.isArray(list) ? list : [];
}

/** What can be read of a part; its faults are added to the others. */
function partly<T extends z.ZodType>(
  type: T,
  sent: unknown,
  at: string,
  faults: string[],
): z.output<T> | null {
  const parsed = type.safeParse(sent);
  for (const issue of parsed.error?.issues ?? []) {
    const pointer = [at, ...issue.path.map(String)].join('/');
    faults.push(`${pointer || 'the file'} ${issue.message}`);
  }
  return parsed.success ? parsed.data : null;
}

function changeFaults(changes: readonly (Change | null)[]): string[] {
  return changes.flatMap((each, n) => {
    if (each === null) return [];
    const rule = DEFAULT_TABLE.rules.find((known) => known.id === each.id);
    const at = `/changes/${n}`;
    if (rule === undefined) return `${at}/id '${each.id}' names no row that ships: add it under local`;
    const twice = changes.findIndex((other) => other?.id === each.id) < n;
    return [
      ...(twice ? [`${at}/id '${each.id}' is changed twice`] : []),
      ...(rule.quantity === 'chamber-fill' && (each.threshold?.thousandths ?? 0) > 1000
        ? [`${at}/threshold must be at most 1`]
        : []),
      ...NUMBERS.filter((name) => each[name] !== undefined && !(name in rule)).map(
        (name) => `${at}/${name} is no number of '${each.id}', whose quantity is ${rule.quantity}`,
      ),
    ];
  });
}

function idFaults(ids: readonly (string | undefined)[]): string[] {
  const ships = DEFAULT_TABLE.rules.map((rule) => rule.id);
  return ids.flatMap((each, n) => {
    if (each === undefined) return [];
    if (ships.includes(each)) return `/local/${n}/id '${each}' is the id of a row that ships`;
    return ids.indexOf(each) < n ? `/local/${n}/id '${each}' is used twice` : [];
  });
}

const NUMBERS = ['threshold', 'window_h', 'consecutive_h', 'max_gap_h', 'steady_h', 'steady_ml_h'] as const;

function changedBy(rule: Rule, change: Change | null | undefined): Rule {
  if (change === undefined || change === null) return rule;
  const { id: _id, ...numbers } = given(change);
  const before: Readonly<Record<string, unknown>> = { ...rule };
  const changed = NUMBERS.filter(
    (name) => numbers[name] !== undefined && shown(numbers[name]) !== shown(before[name]),
  ).map((name) => `${name} is ${shown(numbers[name])}, not ${shown(before[name])} as published`);
  if (numbers.on !== undefined && numbers.on !== rule.on)
    changed.push(`switched ${numbers.on ? 'on' : 'off'}`);
  return { ...rule, ...numbers, changed } as Rule;
}

const shown = (value: unknown): string => (value instanceof Decimal ? value.text : String(value));

/** Without fields that are undefined. */
function given<T extends object>(sent: T): { [K in keyof T]: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(sent).filter(([, value]) => value !== undefined)) as {
    [K in keyof T]: Exclude<T[K], undefined>;
  };
}
