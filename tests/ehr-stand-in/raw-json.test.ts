import fc from 'fast-check';
import { expect, test } from 'vitest';
import { entryResourceTexts } from '../../src/ehr-stand-in/raw-json.ts';

test('a resource is cut out with its digits, spaces and order as they were written', () => {
  const first = '{ "value": 1.50, "list": [1.0, {"a":-0.00e+2}],\n "z":1,"a":2 }';
  const second = '{"value":12345678901234567890.10}';
  const bundle = `\n{"type":"batch", "entry" : [ {"resource":${first} ,"request":{}},\t{"request":{},"resource": ${second}}]}\n`;
  expect(entryResourceTexts(bundle)).toEqual([first, second]);
});

test('no kind of white space sticks to a bare value', () => {
  const bundle = '{"entry":[{"resource":1.50\n},{"resource":true\r\n},{"resource":null\t},{"resource":0 }]}';
  expect(entryResourceTexts(bundle)).toEqual(['1.50', 'true', 'null', '0']);
});

test('braces, brackets, quotes and names inside strings are only text', () => {
  const resource = String.raw`{"text":"} ] , \" \\","entry":["\\\"{"],"resource":{"resource":1}}`;
  const bundle = `{"note":"\\"entry\\":[{\\"resource\\":1}]","entry":[{"note":"{[","resource":${resource}}]}`;
  expect(entryResourceTexts(bundle)).toEqual([resource]);
});

test('only the Bundle’s own entry counts, also when its name is written with an escape', () => {
  const bundle = String.raw`{"meta":{"entry":[{"resource":1}]},"\u0065ntry":[{"r\u0065source":{"a":2}}]}`;
  expect(entryResourceTexts(bundle)).toEqual(['{"a":2}']);
});

test('of a name given twice the last counts, as for JSON.parse', () => {
  expect(entryResourceTexts('{"entry":[{"resource":1}],"entry":[{"resource":2,"resource":3}]}')).toEqual([
    '3',
  ]);
});

test('an entry without a resource is undefined, a Bundle without entries has none', () => {
  expect(entryResourceTexts('{"entry":[{},{"request":{ }},{"resource":{}}]}')).toEqual([
    undefined,
    undefined,
    '{}',
  ]);
  expect(entryResourceTexts('{"entry":[]}')).toEqual([]);
  expect(entryResourceTexts('{ }')).toEqual([]);
});

test('for any JSON at all the slices are what was put in', () => {
  const spacing = fc.constantFrom(undefined, 1, '\t');
  fc.assert(
    fc.property(fc.array(fc.jsonValue()), fc.jsonValue(), spacing, (resources, other, space) => {
      const entry = resources.map((resource) => ({ request: other, resource, fullUrl: 'x' }));
      const bundle = JSON.stringify({ other, entry, resource: other }, undefined, space);
      const slices = entryResourceTexts(bundle);
      expect(slices.map((slice) => JSON.parse(slice ?? ''))).toEqual(JSON.parse(JSON.stringify(resources)));
      expect(slices.filter((slice) => slice === undefined || !bundle.includes(slice))).toEqual([]);
      expect(slices).toEqual(slices.map((slice) => slice?.trim()));
    }),
  );
});
