import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { writeCanonical } from '../../src/json/canonical.ts';
import { ExactJsonError, ExactNumber, parseExactJson } from '../../src/json/exact-json.ts';

const digitsOf = (value: object) => (value instanceof ExactNumber ? value.text : undefined);
const asWritten = (text: string) => writeCanonical(parseExactJson(text), digitsOf);

describe('exact JSON', () => {
  it.each([
    '0',
    '-0',
    '2.0',
    '2',
    '1e3',
    '1E+03',
    '0.10',
    '-1.50',
    '123456789012345678901234567890',
    '1e400',
  ])('keeps the digits of %s', (digits) => {
    expect(parseExactJson(`{"level_ml": ${digits}}`)).toEqual({ level_ml: new ExactNumber(digits) });
  });

  it.each([
    ['a number with no digit after the point', '1.'],
    ['a leading zero', '01'],
    ['a leading zero after the sign', '-01'],
    ['a plus sign', '+1'],
    ['a number with no digit before the point', '.5'],
    ['an exponent without digits', '1e'],
    ['NaN', 'NaN'],
    ['Infinity', '-Infinity'],
    ['a hexadecimal number', '0x1F'],
    ['a trailing comma in an array', '[1,]'],
    ['a trailing comma in an object', '{"a":1,}'],
    ['a missing comma', '[1 2]'],
    ['a missing colon', '{"a" 1}'],
    ['a key without quotes', '{a:1}'],
    ['single quotes', "'a'"],
    ['a comment', '[1]//'],
    ['a second value', '1 1'],
    ['nothing', ''],
    ['white space alone', ' \n'],
    ['an open array', '[1'],
    ['an open object', '{"a":1'],
    ['an open string', '"a'],
    ['a byte order mark', '\uFEFF1'],
    ['a space that JSON does not know', '\u00A01'],
    ['a raw line break in a string', '"a\nb"'],
    ['an unknown escape', '"\\x41"'],
    ['a short escape', '"\\u12"'],
    ['a word in capitals', 'True'],
    ['half a word', 'tru'],
    ['a word run on', 'nullx'],
    ['a key that stands twice', '{"a":1,"b":2,"a":1}'],
    ['a key that stands twice, once escaped', '{"a":1,"\\u0061":1}'],
    ['the key __proto__', '{"__proto__":{}}'],
    ['the key __proto__, escaped', '{"\\u005f_proto__":{}}'],
    ['half a surrogate pair, escaped', '"\\ud83d"'],
    ['half a surrogate pair, raw', '"\uD83D"'],
    ['half a surrogate pair in a key', '{"\\udc00":1}'],
    ['the NUL character', '"a\\u0000"'],
    ['33 levels', '['.repeat(33) + ']'.repeat(33)],
  ])('refuses %s', (_, text) => {
    expect(() => parseExactJson(text)).toThrow(ExactJsonError);
  });

  it.each([
    ['[1,]', [1], ']'],
    ['{"a":1,"a":2}', ['a'], 'a'],
    ['{"a":{"b":tru}}', ['a', 'b'], 'tru'],
    ['{"level_ml":1.}', ['level_ml'], '1.'],
  ])('tells where %s is wrong and what stands there', (text, path, found) => {
    expect(() => parseExactJson(text)).toThrow(
      expect.objectContaining({
        path,
        found: expect.stringContaining(found),
        mend: expect.stringMatching(/^send /),
      }),
    );
  });

  it('takes 32 levels, all escapes, whole pairs and every white space of JSON', () => {
    expect(() => parseExactJson('['.repeat(32) + ']'.repeat(32))).not.toThrow();
    expect(parseExactJson('\t"\\"\\\\\\/\\b\\f\\n\\r\\t\\u00e9\\ud83d\\ude00"\r\n ')).toBe(
      '"\\/\b\f\n\r\té😀',
    );
    expect(parseExactJson('{"a":[true,false,null],"constructor":"c","":{}}')).toEqual({
      a: [true, false, null],
      constructor: 'c',
      '': {},
    });
  });

  it('reads many values side by side: depth is nesting, not number', () => {
    expect(parseExactJson(`[${'[],'.repeat(100)}{}]`)).toHaveLength(101);
  });

  it('reads a long text without running out of stack', () => {
    const long = 'a\\n'.repeat(2_000_000);
    expect(parseExactJson(`"${long}"`)).toHaveLength(4_000_000);
  });

  it('reads what JSON.stringify writes as JSON.parse does, and gives numbers to the caller', () => {
    const json = fc
      .jsonValue({ noUnicodeString: false })
      .filter((value) => !JSON.stringify(value).includes('__proto__'));
    fc.assert(
      fc.property(json, (value) => {
        const text = JSON.stringify(value);
        fc.pre(!text.includes('\\u0000') && !/\\ud[89a-f]/.test(text));
        const read = parseExactJson(text, (digits) => ({ number: Number(digits) }));
        const plain = JSON.parse(JSON.stringify(read), (_, part) =>
          part !== null && typeof part === 'object' && Object.keys(part).join() === 'number'
            ? part.number
            : part,
        );
        expect(plain).toEqual(JSON.parse(text, (_, part) => (isWrapped(part) ? part.number : part)));
      }),
      { numRuns: 500 },
    );
  });
});

const isWrapped = (part: unknown): part is { number: unknown } =>
  part !== null && typeof part === 'object' && Object.keys(part).join() === 'number';

describe('canonical JSON', () => {
  it.each([
    ['{ "b": 1.0, "a": [ 2e1, "x" ] }', '{"a":[2e1,"x"],"b":1.0}'],
    ['{"\\u20ac":1,"\\r":2,"1":3}', '{"\\r":2,"1":3,"€":1}'],
    ['[]', '[]'],
    ['null', 'null'],
  ])('writes %s in one way', (text, canonical) => {
    expect(asWritten(text)).toBe(canonical);
  });

  it('writes a value the same whatever the order of its members, and leaves out what is undefined', () => {
    expect(writeCanonical({ b: 1, a: { d: undefined, c: 'x' } }, digitsOf)).toBe('{"a":{"c":"x"},"b":1}');
    expect(writeCanonical({ a: { c: 'x' }, b: 1 }, digitsOf)).toBe('{"a":{"c":"x"},"b":1}');
  });

  it('reads back as itself', () => {
    const sent = '{"z":[1.50,-0,{"y":"\\u00e9","x":null}],"a":true}';
    expect(asWritten(asWritten(sent))).toBe(asWritten(sent));
    expect(asWritten(sent)).toBe('{"a":true,"z":[1.50,-0,{"x":null,"y":"é"}]}');
  });
});
