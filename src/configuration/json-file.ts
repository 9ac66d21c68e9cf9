/** A facility's JSON files: read, held to their shape, and what is wrong with them in words, with its place. */
import { readFileSync } from 'node:fs';
import type { z } from 'zod';

/** Names a file of a facility and all that is wrong in it. */
export class BadFile extends Error {}

/** What a file holds, whatever its shape. @throws {BadFile} */
export function readJson(path: string, parse: (text: string) => unknown): unknown {
  try {
    return parse(readFileSync(path, 'utf8'));
  } catch (error) {
    throw new BadFile(`${path}: ${error instanceof Error ? error.message : String(error)}`);
  }
}

/** @throws {BadFile} */
export function readJsonFile<T>(path: string, type: z.ZodType<T>, parse: (text: string) => unknown): T {
  const read = type.safeParse(readJson(path, parse), { error: inWords });
  if (read.success) return read.data;
  throw new BadFile(`${path}: ${read.error.issues.map(faultText).join('; ')}`);
}

function faultText({ path, message }: z.core.$ZodIssue): string {
  return `${path.length === 0 ? 'the file' : ['', ...path.map(String)].join('/')} ${message}`;
}

/** What a schema does not say in words of its own. */
export function inWords(issue: z.core.$ZodRawIssue): string | undefined {
  const { code, input } = issue;
  if (input === undefined && (code === 'invalid_type' || code === 'invalid_value')) return 'is missing';
  if (code === 'unrecognized_keys') return `has unknown fields: ${issue.keys?.join(', ')}`;
  if (code === 'invalid_value') return `is none of ${issue.values?.join(', ')}`;
  if (code === 'too_small' && Number(issue.minimum) === 1 && (input === '' || Array.isArray(input)))
    return 'is empty';
  if (code === 'invalid_format' && issue.format === 'url') return 'is no URL';
  return code === 'invalid_type' ? `is no ${NAMES[String(issue.expected)] ?? issue.expected}` : undefined;
}

const NAMES: Readonly<Record<string, string>> = { string: 'text', array: 'list', boolean: 'true or false' };
