import { ExactNumber, type ExactValue } from './exact-json.ts';

/** Writes what the strict reader read: keys in their order, numbers by their digits. */
export function writeExact(value: ExactValue): string {
  if (value === null || typeof value !== 'object') return JSON.stringify(value);
  if (value instanceof ExactNumber) return value.text;
  if (Array.isArray(value)) return `[${value.map(writeExact).join(',')}]`;
  const members = Object.entries(value as Readonly<Record<string, ExactValue>>);
  return `{${members.map(([key, member]) => `${JSON.stringify(key)}:${writeExact(member)}`).join(',')}}`;
}
