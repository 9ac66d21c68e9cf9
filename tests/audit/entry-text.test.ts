/**
 * Bodies are read back with the digits they were charted with: FHIR R4 has the precision of a decimal be significant
 * (json.html#decimal), and RFC 8259 leaves open what a reader keeps of it.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { readBody, writeBody } from '../../src/audit/entry-text.ts';
import { Decimal } from '../../src/domain/numbers/decimal.ts';
import type { EntryBody } from '../../src/domain/vocabulary/entry.ts';

/** Digits as senders chart them: up to nine before and three after the point, with zeros at either end. */
const digits = fc
  .tuple(
    fc.constantFrom('', '-'),
    fc.oneof(fc.constantFrom(0, 1, 10, 999_999_999), fc.nat({ max: 999_999_999 })),
    fc.constantFrom('', '.0', '.5', '.50', '.500', '.001', '.010', '.25', '.999'),
  )
  .map(([sign, whole, fraction]) => `${sign}${whole}${fraction}`);
/** No NUL, which intake refuses; and what looks like the end of a number is none. */
const text = fc.oneof(
  fc.string({ unit: 'binary' }).filter((each) => !each.includes('\u0000')),
  fc.constantFrom('2.0,', '-0}', '["1.50"]', '"', '\\', '1e3'),
);
const key = fc.constantFrom('a', 'b', 'level_ml', 'x"y', '1.0', '7');
const { value: said } = fc.letrec<{ value: unknown; record: unknown }>((tie) => ({
  value: fc.oneof(
    { depthSize: 'small' },
    digits.map((each) => Decimal.of(each)),
    text,
    fc.boolean(),
    fc.array(tie('value'), { maxLength: 4 }),
    tie('record'),
  ),
  record: fc.dictionary(key, tie('value'), { maxKeys: 5 }),
}));
const body = fc.dictionary(key, said, { maxKeys: 6 }) as unknown as fc.Arbitrary<EntryBody>;

describe('a body that was written', () => {
  it('is read back as it was, to the last digit', () => {
    fc.assert(
      fc.property(body, (each) => {
        const read = readBody(writeBody(each));
        expect(read).toEqual({ ...each });
        expect(writeBody(read)).toBe(writeBody(each));
      }),
      { numRuns: 1000 },
    );
  });

  it.each(['2', '2.0', '0.50', '120.125', '-0', '-0.0', '-0.5', '10', '100', '999999999', '0.001'])(
    'holds the number %s in these digits, wherever it stands',
    (number) => {
      const forms = [
        `{"a":${number}}`,
        `{"a":[1,${number}]}`,
        `{"a":{"b":${number},"c":"x"}}`,
        `{"a":"n","b":[${number},2]}`,
      ];
      for (const form of forms) {
        const read = readBody(form);
        expect(writeBody(read)).toBe(form);
        expect(JSON.stringify(read)).not.toContain('text');
      }
      expect(readBody(`{"a":${number}}`)).toEqual({ a: Decimal.of(number) });
    },
  );

  it.each(['{"a":1.2345}', '{"a":1e9999}', '{"a":1234567890}', '{"a":1', ''])('is refused as %j', (bad) => {
    expect(() => readBody(bad)).toThrow();
  });
});
