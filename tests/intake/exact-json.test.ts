/** The strict JSON reader: what it keeps, what it refuses, and where. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { writeCanonical } from '../../src/json/canonical.ts';
import { ExactJsonError, ExactNumber, parseExactJson } from '../../src/json/exact-json.ts';

const written = (value: unknown): string =>
  writeCanonical(value, (inner) => (inner instanceof ExactNumber ? inner.text : undefined));

/** What JSON.parse makes of it, for any text without duplicate keys. */
const plain = (text: string): unknown => parsed(parseExactJson(text));

function parsed(value: unknown): unknown {
  if (value instanceof ExactNumber) return Number(value.text);
  if (Array.isArray(value)) return value.map(parsed);
  if (typeof value !== 'object' || value === null) return value;
  return Object.fromEntries(Object.entries(value).map(([key, member]) => [key, parsed(member)]));
}

test('digits stay as they are written', () => {
  const text = '{"a":2.0,"b":[-0,1e3,0.10,12345678901234567890],"c":{"d":1E-2}}';
  expect(written(parseExactJson(text))).toBe(text);
});

test('it reads what JSON.parse reads', () => {
  const usual = fc
    .json({ maxDepth: 5 })
    .filter((text) => !/__proto__|\\u0000|\\ud[89a-f]/i.test(text) && text.isWellFormed());
  fc.assert(
    fc.property(usual, (text) => {
      expect(plain(text)).toEqual(JSON.parse(text));
    }),
  );
});

test('it refuses what JSON.parse refuses', () => {
  const pieces = fc.constantFrom(
    '{',
    '}',
    '[',
    ']',
    ',',
    ':',
    '"a"',
    '1',
    '.',
    '0',
    '-',
    'e',
    'true',
    'nul',
    ' ',
    '\n',
  );
  fc.assert(
    fc.property(fc.array(pieces, { maxLength: 12 }), (parts) => {
      const text = parts.join('');
      if (isJson(text)) return;
      expect(() => parseExactJson(text)).toThrow(ExactJsonError);
    }),
    { numRuns: 2000 },
  );
});

function isJson(text: string): boolean {
  try {
    JSON.parse(text);
    return true;
  } catch {
    return false;
  }
}

test('the canonical form forgets the order of keys and white space, and nothing else', () => {
  const of = (text: string): string => written(parseExactJson(text));
  expect(of('{"b":1,"a":[1,2]}')).toBe(of(' { "a" : [ 1 , 2 ] , "b" : 1 } '));
  expect(of('{"a":[1,2]}')).not.toBe(of('{"a":[2,1]}'));
  expect(of('{"a":1}')).not.toBe(of('{"a":1.0}'));
  expect(of('{"a":1}')).not.toBe(of('{"a":"1"}'));
});

describe('an error says where', () => {
  test.each([
    ['[1,{"a":[true,01]}]', [1, 'a', 1], '01'],
    ['{"a":{"b":1,"b":2}}', ['a', 'b'], 'b'],
    ['{"a":"\\ud800"}', ['a'], '"\\ud800"'],
    ['{"a":1}}', [], '}'],
    ['{"a":1,}', [], '}'],
    ['', [], 'the end of the text'],
  ] as const)('%s', (text, path, found) => {
    try {
      parseExactJson(text);
      expect.unreachable();
    } catch (error) {
      expect(error).toBeInstanceOf(ExactJsonError);
      expect(error).toMatchObject({ path, found });
    }
  });
});

test('32 levels are read, 33 are not', () => {
  expect(() => parseExactJson(`${'['.repeat(32)}${']'.repeat(32)}`)).not.toThrow();
  expect(() => parseExactJson(`${'['.repeat(33)}${']'.repeat(33)}`)).toThrow(
    'is nested deeper than 32 levels',
  );
});

test('a string of 2 MiB is read', () => {
  const text = JSON.stringify('x"\\é'.repeat(512 * 1024));
  expect(parseExactJson(text)).toBe(JSON.parse(text));
});
