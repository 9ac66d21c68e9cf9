/**
 * What the index finds in a text by its frame and holes, beside what it finds in the whole text.
 * The whole text is read by JSON.parse, which knows nothing of frames.
 */
import fc from 'fast-check';
import { expect, test, vi } from 'vitest';
import { createDateReader } from '../../src/fhir/search/date-range.ts';
import { extract, type Json } from '../../src/fhir/search/extract.ts';
import { createFramedExtractor } from '../../src/fhir/search/framed-extract.ts';
import { RESOURCE_TYPES } from '../../src/fhir/search/resource-types.ts';
import { FrameBuilder, type Framed, fill } from '../../src/json/frame.ts';
import { filled, fillingOf, readSkeleton } from '../../src/json/skeleton.ts';
import { cutInto, cuts } from '../support/cut.ts';
import { resourcesOf } from '../support/issued.ts';
import { arrivalOf, ledger } from '../support/ledgers.ts';

vi.setConfig({ testTimeout: 120_000 });

const READ_DATE = createDateReader((local) => local);
function inWhole(framed: Framed) {
  const resource = JSON.parse(fill(framed)) as Json;
  const type = RESOURCE_TYPES.find((each) => each.type === resource.resourceType);
  return type === undefined ? undefined : extract(type, resource, READ_DATE);
}

test('the same is found in what generated ledgers issue, mostly without making its text', () => {
  const found = createFramedExtractor(RESOURCE_TYPES, READ_DATE);
  const seen = { all: 0, byFrame: 0 };
  fc.assert(
    fc.property(ledger.chain(arrivalOf), (story) => {
      for (const framed of resourcesOf(story)) {
        expect(found(framed)).toEqual(inWhole(framed));
        const skeleton = readSkeleton(framed.frame);
        seen.all += 1;
        if (skeleton !== undefined && fillingOf(skeleton, framed) !== undefined) seen.byFrame += 1;
      }
    }),
    { numRuns: 20 },
  );
  expect(seen.all).toBeGreaterThan(300);
  expect(seen.byFrame / seen.all).toBeGreaterThan(0.7);
});

const REFERENCE = { reference: 'Observation/level.d.a' };
const texts = fc.constantFrom(
  'a',
  'level.d.a',
  'x\\"y',
  'x\ny',
  '\u0001',
  '2026-03-01T08:00:00Z',
  'Patient/1',
  'Observation/level.d.a/_history/2',
  'Observation/_history/2.a',
  '',
);
const resource = fc.record({
  resourceType: fc.constantFrom('Observation', 'Provenance', 'Device', 'Basic'),
  id: texts,
  meta: fc.constant({ versionId: '1', lastUpdated: '2026-03-01T08:00:00.000Z' }),
  identifier: fc.array(fc.record({ system: texts, value: texts }), { maxLength: 2 }),
  status: fc.constantFrom('final', 'amended'),
  code: fc.record({
    coding: fc.array(fc.record({ system: texts, code: texts }), { maxLength: 2 }),
    text: texts,
  }),
  subject: fc.record({ reference: texts, identifier: fc.record({ value: texts }) }),
  effectiveDateTime: texts,
  valueQuantity: fc.record({ value: fc.double({ noNaN: true, noDefaultInfinity: true }), code: texts }),
  hasMember: fc.array(fc.record({ reference: texts }), { maxLength: 3 }),
  derivedFrom: fc.array(
    fc.record(
      { reference: texts, identifier: fc.record({ system: texts, value: texts }, { requiredKeys: [] }) },
      { requiredKeys: [] },
    ),
    { maxLength: 2 },
  ),
  target: fc.array(fc.constant(REFERENCE), { maxLength: 3 }),
});

test('the same is found wherever a text is cut into what is fixed and what is a hole', () => {
  const found = createFramedExtractor(RESOURCE_TYPES, READ_DATE);
  fc.assert(
    fc.property(resource, cuts, (content, at) => {
      const text = JSON.stringify(content);
      const framed = cutInto(text, at);
      expect(fill(framed)).toBe(text);
      expect(found(framed)).toEqual(inWhole(framed));
    }),
    { numRuns: 2000 },
  );
});

const OPENING =
  '{"resourceType":"Observation","id":"a.b","meta":{"versionId":"1","lastUpdated":"2026-03-01T08:00:00.000Z"}';
const framedBy = (before: string, hole: string, after: string): Framed =>
  new FrameBuilder()
    .fixed(OPENING + before)
    .hole(hole)
    .fixed(after)
    .built();

test.each([
  ['whether it is a quantity', ',"valueQuantity":{"code":"mL","value":', '}}', ['5', '"x"', '6']],
  ['its unit', ',"valueQuantity":', '}', ['{"value":1,"code":"mL"}', '{"value":1,"code":"L"}', '1']],
  [
    'whether it is about a patient',
    ',"subject":{"reference":"',
    '"}}',
    ['Patient/1', 'Group/1', 'Patient/1'],
  ],
  ['its status', ',"status":', '}', ['"final"', '"amended"', '"final"']],
  [
    'how many it refers to',
    ',"device":',
    '}',
    ['{"reference":"Device/a.b"}', '[]', '[{"reference":"Device/c"}]'],
  ],
  [
    'whom it is derived from',
    ',"derivedFrom":[{"reference":"Observation/a.',
    '"}]}',
    ['b', 'c/_history/2', 'b'],
  ],
])('what fills a frame says each time anew %s', (_, before, after, holes) => {
  const found = createFramedExtractor(RESOURCE_TYPES, READ_DATE);
  const all = holes.map((hole) => framedBy(before, hole, after));
  expect(new Set(all.map(({ frame }) => frame)).size).toBe(1);
  for (const framed of all) expect(found(framed)).toEqual(inWhole(framed));
});

test('the same text in two places is looked at in each by the path that leads there', () => {
  const types = RESOURCE_TYPES.map((type) => ({
    ...type,
    parameters: type.parameters.filter(({ name }) => name === 'combo-code'),
  }));
  const found = createFramedExtractor(types, READ_DATE);
  for (const code of ['one', 'two']) {
    const hole = `{"coding":[{"code":"outer"}],"code":{"coding":[{"code":"${code}"}]}}`;
    const [ofCode, ofComponent] = [framedBy(',"code":', hole, '}'), framedBy(',"component":', hole, '}')];
    expect(found(ofCode)?.shape.tokens['combo-code']).toEqual([[null, 'outer']]);
    expect(found(ofComponent)?.shape.tokens['combo-code']).toEqual([[null, code]]);
  }
});

/** Whole values and parts of strings as holes, as the service writes them. */
test.each([
  ['a number', '{"a":', '12.50', '}', { a: 12.5 }],
  ['an object', '{"a":', '{"b":[1]}', '}', { a: { b: [1] } }],
  ['a part of a string', '{"a":"x.', 'y', '.z"}', { a: 'x.y.z' }],
])('a hole that is %s is filled in its place', (_, before, hole, after, expected) => {
  const framed = new FrameBuilder().fixed(before).hole(hole).fixed(after).built();
  const skeleton = readSkeleton(framed.frame);
  const filling = skeleton === undefined ? undefined : fillingOf(skeleton, framed);
  expect(skeleton === undefined || filling === undefined ? null : filled(skeleton.root, filling)).toEqual(
    expected,
  );
});

test.each([
  ['the end of a value and the start of the next', '{"a":', '1,"b":2', '}'],
  ['a part of a string that ends it', '{"a":"', 'x","b":"y', '"}'],
  ['a part of a string with an escape', '{"a":"', '\\u0041', '"}'],
  ['what a backslash before it escapes', '{"a":"\\', 'n', '"}'],
  ['a value that starts within it', '{"a":', '{"b":"c', '"}}'],
])('a hole that is %s leaves the whole text to be read', (_, before, hole, after) => {
  const framed = new FrameBuilder().fixed(before).hole(hole).fixed(after).built();
  const skeleton = readSkeleton(framed.frame);
  expect(skeleton === undefined ? undefined : fillingOf(skeleton, framed)).toBeUndefined();
});
