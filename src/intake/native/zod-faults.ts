/** What a schema found wrong, in our own words: each fault names the field, the value and the mend. */
import type { z } from 'zod';
import { ExactNumber } from '../../json/exact-json.ts';
import { type Fault, pointerOf, shown } from '../fault.ts';
import { MEND } from './quantity.ts';

/** One fault a field: the first that was found. */
export function faultsOf(error: z.ZodError, input: unknown): readonly Fault[] {
  const byPointer = new Map<string, Fault>();
  for (const fault of error.issues.flatMap((issue) => faultsIn(issue, input))) {
    if (!byPointer.has(fault.pointer)) byPointer.set(fault.pointer, fault);
  }
  return [...byPointer.values()];
}

function faultsIn(issue: z.core.$ZodIssue, input: unknown): Fault[] {
  if (issue.code === 'unrecognized_keys') {
    return issue.keys.map((key) => {
      const path = [...issue.path, key];
      return faultAt(path, input, { detail: 'is no field of this', mend: 'remove it' });
    });
  }
  const words = wordsOf(issue);
  const missing = at(input, issue.path) === undefined;
  return [faultAt(issue.path, input, missing ? { ...words, detail: 'is missing' } : words)];
}

interface Words {
  readonly detail: string;
  readonly mend: string;
}

function faultAt(path: readonly PropertyKey[], input: unknown, words: Words): Fault {
  const place = path.findIndex((_, n) => at(input, path.slice(0, n)) instanceof ExactNumber);
  // A number is an object to the schema; what it finds inside one means that an object was wanted there.
  if (place >= 0) return faultFor(path.slice(0, place), input, isNot('an object'));
  return faultFor(path, input, words);
}

const faultFor = (path: readonly PropertyKey[], input: unknown, words: Words): Fault => ({
  pointer: pointerOf(path),
  value: shown(at(input, path)),
  ...words,
});

const NOUNS: Readonly<Record<string, string>> = {
  object: 'an object',
  array: 'a list',
  record: 'an object',
  tuple: 'a list',
  string: 'text',
  boolean: 'true or false',
};

function wordsOf(issue: z.core.$ZodIssue): Words {
  switch (issue.code) {
    case 'invalid_value':
      return noneOf(issue.values);
    case 'invalid_union':
      return 'options' in issue && Array.isArray(issue.options)
        ? noneOf(issue.options)
        : formOf(issue.message);
    case 'invalid_type':
      // Where a schema has words of its own for what may not stand there, or must, they say more.
      if (issue.message.includes(MEND)) return formOf(issue.message);
      return isNot(NOUNS[issue.expected] ?? issue.expected);
    case 'too_small':
      return { detail: 'is too short', mend: `send at least ${count(issue.minimum, issue.origin)}` };
    case 'too_big':
      return { detail: 'is too long', mend: `send at most ${count(issue.maximum, issue.origin)}` };
    default:
      return formOf(issue.message);
  }
}

function formOf(message: string): Words {
  const [detail = '', mend = 'send what GET /openapi.json describes'] = message.split(MEND);
  return { detail, mend };
}

const isNot = (noun: string): Words => ({ detail: `is not ${noun}`, mend: `send ${noun}` });

function noneOf(values: readonly unknown[]): Words {
  return { detail: 'is none of the known values', mend: `send one of ${values.map(shown).join(', ')}` };
}

function count(n: number | bigint, origin: string): string {
  const noun = origin === 'string' ? 'character' : 'item';
  return `${n} ${noun}${n === 1 ? '' : 's'}`;
}

function at(value: unknown, path: readonly PropertyKey[]): unknown {
  return path.reduce<unknown>((inner, step) => {
    if (typeof inner !== 'object' || inner === null || !Object.hasOwn(inner, step)) return undefined;
    return (inner as Record<PropertyKey, unknown>)[step];
  }, value);
}
