/** JSON laid out for the eye, with the digits of every number as they were. */
import { ExactNumber, type ExactValue, parseExactJson } from '../json/exact-json.ts';
import { WIDTH } from './table.ts';

export function layOut(text: string, indent = ''): string {
  return laidOut(parseExactJson(text), indent, '');
}

/** On one line where it fits; otherwise a member a line. `label` stands before it on its line. */
function laidOut(value: ExactValue, indent: string, label: string): string {
  const short = label + flat(value);
  if (isPlain(value) || indent.length + short.length < WIDTH) return short;
  const inner = `${indent}  `;
  const isList = Array.isArray(value);
  const parts = isList
    ? value.map((item: ExactValue) => laidOut(item, inner, ''))
    : Object.entries(value as Record<string, ExactValue>).map(([name, member]) =>
        laidOut(member, inner, `${JSON.stringify(name)}: `),
      );
  const [open, close] = isList ? '[]' : '{}';
  return `${label}${open}\n${parts.map((part) => inner + part).join(',\n')}\n${indent}${close}`;
}

function flat(value: ExactValue): string {
  if (value instanceof ExactNumber) return value.text;
  if (isPlain(value)) return JSON.stringify(value);
  if (Array.isArray(value)) return `[${value.map(flat).join(', ')}]`;
  const members = Object.entries(value as Record<string, ExactValue>);
  return `{ ${members.map(([name, member]) => `${JSON.stringify(name)}: ${flat(member)}`).join(', ')} }`;
}

function isPlain(value: ExactValue): value is null | boolean | string | ExactNumber {
  return value === null || typeof value !== 'object' || value instanceof ExactNumber;
}
