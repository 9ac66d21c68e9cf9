/** `rules list` and `rules check FILE`: the table as it is, or as a facility's file would make it. */

import { BadFile } from '../configuration/json-file.ts';
import { readRules } from '../configuration/rules.ts';
import type { Rule, RuleTable } from '../domain/vocabulary/rule.ts';
import { DEFAULT_TABLE } from '../rules/default-table.ts';
import { print } from './output.ts';

/** @returns the exit code: 0, 1 where the file cannot be used, or null where there is no such command */
export function runRules(args: readonly string[]): number | null {
  const [verb, file, ...more] = args;
  if (verb === 'list' && file === undefined) {
    print(tableText(DEFAULT_TABLE));
    return 0;
  }
  if (verb === 'check' && file !== undefined && more.length === 0) return check(file);
  return null;
}

function check(path: string): number {
  try {
    const table = readRules(path);
    print(`${summary(table)}\n${tableText(table)}`);
    return 0;
  } catch (error) {
    if (!(error instanceof BadFile)) throw error;
    process.stderr.write(`${error.message}\n`);
    return 1;
  }
}

function summary({ version, rules, reading_every_h: every }: RuleTable): string {
  const on = rules.filter((rule) => rule.on).length;
  const changed = rules.filter((rule) => rule.changed.length > 0).length;
  const local = rules.filter(({ evidence }) => evidence === 'local').length;
  return [
    `Version ${version} would hold: ${on} rows on, ${rules.length - on} off, ${changed} changed, ${local} local.`,
    `A reading is expected every ${every.adult} h of an adult, every ${every.paediatric} h of a child.`,
    '',
  ].join('\n');
}

const tableText = ({ rules }: RuleTable): string => rules.map(rowText).join('\n');

function rowText(rule: Rule): string {
  const { id, title, on, operator, threshold, unit, source, evidence, changed } = rule;
  return [
    `${on ? 'on ' : 'off'}  ${id}  ${title}`,
    `       ${operator} ${threshold.text} ${unit}; ${source} [${evidence}]`,
    ...changed.map((each) => `       changed here: ${each}`),
  ].join('\n');
}
