/**
 * What delivery goes by of an issued resource, read off its frame, beside what is read off its whole text. The whole text is
 * read by JSON.parse as well, which knows nothing of either.
 */
import fc from 'fast-check';
import { describe, expect, it, vi } from 'vitest';
import { bytesOf } from '../../src/delivery/bytes.ts';
import { headOf, nameOf } from '../../src/delivery/outline.ts';
import { FrameBuilder, type Framed, fill } from '../../src/json/frame.ts';
import { cutInto, cuts } from '../support/cut.ts';
import { resourcesOf } from '../support/issued.ts';
import { arrivalOf, ledger } from '../support/ledgers.ts';

vi.setConfig({ testTimeout: 120_000 });

interface Parsed {
  readonly resourceType: string;
  readonly id: string;
  readonly meta: { readonly versionId: string };
}

/** References to resources of ours, by name and version, wherever they stand. */
function referencesIn(value: unknown): [name: string, version: string | undefined][] {
  if (typeof value !== 'object' || value === null) return [];
  return Object.entries(value).flatMap(([key, each]): [string, string | undefined][] => {
    if (key !== 'reference' || typeof each !== 'string') return referencesIn(each);
    const [type = '', id = '', , version] = each.split('/');
    return id.includes('.') ? [[`${type}/${id}`, version]] : [];
  });
}

const orError = <T>(read: () => T): T | string => {
  try {
    return read();
  } catch (error) {
    return String(error);
  }
};

describe('a resource read off its frame', () => {
  it('says what its text says, in all that generated ledgers issue', () => {
    let seen = 0;
    fc.assert(
      fc.property(ledger.chain(arrivalOf), (story) => {
        for (const framed of resourcesOf(story)) {
          const text = fill(framed);
          const read = JSON.parse(text) as Parsed;
          const head = headOf(framed);
          const references = referencesIn(read);
          expect(head).toEqual({
            ...{ type: read.resourceType, id: read.id, version: Number(read.meta.versionId) },
            hasSubject: 'subject' in read,
            references: references.map(([name]) => name),
            versions: references.map(([, version]) => version),
          });
          expect(headOf(text)).toEqual(head);
          expect([nameOf(framed), nameOf(text)]).toEqual(Array(2).fill(`${head.type}/${head.id}`));
          seen += references.length;
        }
      }),
      { numRuns: 20 },
    );
    expect(seen).toBeGreaterThan(300);
  });

  const texts = fc.constantFrom(
    'a',
    'level.d.a',
    'x\\"y',
    'x\ny',
    '\u0001',
    'Patient/1',
    'Patient/p.1',
    '0',
    '',
  );
  const references = fc.constantFrom(
    'Observation/level.d.a',
    'Observation/level.d.a/_history/2',
    'Patient/1',
    '0',
  );
  const referring = fc.record({ reference: fc.oneof(references, texts) });
  const resource = fc.record(
    {
      resourceType: fc.constantFrom('Observation', 'Provenance', 'Basic'),
      id: fc.oneof(fc.constant('level.d.e'), texts),
      meta: fc.record(
        { versionId: fc.constantFrom('1', '12', 'x'), lastUpdated: texts, profile: fc.constant(['x']) },
        { requiredKeys: ['versionId', 'lastUpdated'] },
      ),
      subject: referring,
      valueString: fc.oneof(texts, fc.constant('"reference":"Observation/level.d.a"')),
      hasMember: fc.array(referring, { maxLength: 3 }),
    },
    { requiredKeys: ['resourceType', 'id'] },
  );

  it('says the same wherever a text is cut into what is fixed and what is a hole', () => {
    fc.assert(
      fc.property(resource, cuts, (content, at) => {
        const text = JSON.stringify(content);
        const framed = cutInto(text, at);
        expect(orError(() => headOf(framed))).toEqual(orError(() => headOf(text)));
        expect(orError(() => nameOf(framed))).toEqual(orError(() => nameOf(text)));
      }),
      { numRuns: 5000 },
    );
  });

  const START = '{"resourceType":"Observation","id":"level.d.e","meta":{"versionId":"1","lastUpdated":""}';
  const framed = (before: string, hole: string, after: string): Framed =>
    new FrameBuilder()
      .fixed(START + before)
      .hole(hole)
      .fixed(after)
      .built();

  it.each([
    ['a whole reference', ',"device":', '{"reference":"Device/collection-unit.d.e"}', '}'],
    ['what is referred to', ',"device":{"reference":', '"Device/collection-unit.d.e"', '}}'],
    ['a type', ',"device":{"reference":"', 'Device', '/collection-unit.d.e"}}'],
    [
      'several references',
      ',"a":[{"reference":"',
      'Basic/x"},{"reference":"Device/collection-unit.d.e',
      '"}]}',
    ],
    ['members', ',"a":{"b":', '1,"reference":"Device/collection-unit.d.e"', '}}'],
  ])('sees a reference where a hole is %s', (_, ...parts) => {
    expect(headOf(framed(...parts)).references).toEqual(['Device/collection-unit.d.e']);
  });

  it.each([
    ['the whole of meta', '', '{"versionId":"12","lastUpdated":""}', '}', 12],
    ['a version of digits', '{"versionId":"', '12', '","lastUpdated":""}}', 12],
    ['no version of ours', '{"versionId":"', 'x', '","lastUpdated":""}}', 1],
  ])('has the version of its text where a hole is %s', (_, before, hole, after, version) => {
    const to = new FrameBuilder().fixed(`{"resourceType":"Basic","id":"level.d.e","meta":${before}`);
    expect(headOf(to.hole(hole).fixed(after).built()).version).toBe(version);
  });
});

it('texts in turn are the bytes of all of them, however long and in whatever script', () => {
  const piece = fc.oneof(
    fc.string({ unit: 'binary' }),
    fc.string().map((text) => `${text}é水`.repeat(20_000)),
  );
  fc.assert(
    fc.property(fc.array(piece, { maxLength: 12 }), (pieces) => {
      expect(bytesOf(pieces).equals(new TextEncoder().encode(pieces.join('')))).toBe(true);
    }),
    { numRuns: 200 },
  );
});
