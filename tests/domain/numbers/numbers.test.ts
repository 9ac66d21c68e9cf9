import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { millilitres } from '../../../src/domain/facts/derived-facts.ts';
import { compare } from '../../../src/domain/numbers/compare.ts';
import { Decimal } from '../../../src/domain/numbers/decimal.ts';
import { add, rational, roundedHalfEven, roundHalfEven } from '../../../src/domain/numbers/rational.ts';
import { microlitres, thousandthsText } from '../../../src/domain/numbers/units.ts';
import { graduationAt } from '../../../src/domain/vocabulary/unit-profile.ts';
import { dec, WET_UNIT } from '../../support/drain-script.ts';

describe('a decimal', () => {
  it.each([
    ['2', 2000],
    ['2.0', 2000],
    ['0.001', 1],
    ['-0.5', -500],
    ['007', 7000],
    ['999999999.999', 999_999_999_999],
  ])('%s is kept as written and counts %d thousandths', (text, thousandths) => {
    expect(Decimal.of(text)).toMatchObject({ text, thousandths });
  });

  it('has no negative zero', () => {
    expect(Object.is(Decimal.of('-0.000').thousandths, 0)).toBe(true);
  });

  it.each(['', '1.', '.5', '+1', '1e3', '0.0001', '1234567890', 'NaN', 'Infinity', '1,5', ' 1', '１'])(
    "refuses '%s'",
    (text) => {
      expect(Decimal.parse(text)).toBeUndefined();
      expect(() => Decimal.of(text)).toThrow(
        new RangeError(`'${text}' is not a plain number with at most 3 decimals`),
      );
    },
  );
});

describe('thousandths as text', () => {
  it.each([
    [0, '0'],
    [-0, '0'],
    [1500, '1.5'],
    [-20, '-0.02'],
    [3000, '3'],
    [100, '0.1'],
    [-1001, '-1.001'],
  ])('%d is %s', (thousandths, text) => {
    expect(thousandthsText(thousandths)).toBe(text);
  });

  it('reads back as the same amount', () => {
    fc.assert(
      fc.property(fc.integer({ min: -999_999_999_999, max: 999_999_999_999 }), (n) => {
        expect(Decimal.of(thousandthsText(n)).thousandths).toBe(n);
      }),
    );
  });
});

describe('rounding half to even (IEEE 754-2019, roundTiesToEven)', () => {
  it.each([
    [1, 2, 0, '0'],
    [3, 2, 0, '2'],
    [5, 2, 0, '2'],
    [-1, 2, 0, '0'],
    [-3, 2, 0, '-2'],
    [-5, 2, 0, '-2'],
    [25, 100, 1, '0.2'],
    [35, 100, 1, '0.4'],
    [-25, 100, 1, '-0.2'],
    [-35, 100, 1, '-0.4'],
    [250_001, 1_000_000, 1, '0.3'],
    [249_999, 1_000_000, 1, '0.2'],
    [-1, 100, 1, '0.0'],
    [1, 3, 2, '0.33'],
    [2, 3, 2, '0.67'],
    [999, 100, 1, '10.0'],
    [1_005, 1000, 2, '1.00'],
    [0, 7, 3, '0.000'],
  ])('%d/%d to %d places is %s', (numerator, denominator, decimals, text) => {
    const fraction = rational(numerator, denominator);
    expect(roundHalfEven(fraction, decimals)).toBe(text);
    expect(roundedHalfEven(fraction, decimals)).toBe(Number(text));
  });

  it('is never further off than half a unit of the last place, and even on a tie', () => {
    const anyFraction = fc.tuple(fc.bigInt(-(10n ** 15n), 10n ** 15n), fc.bigInt(1n, 10n ** 9n), fc.nat(3));
    fc.assert(
      fc.property(anyFraction, ([numerator, denominator, decimals]) => {
        const text = roundHalfEven({ numerator, denominator }, decimals);
        const rounded = BigInt(text.replace('.', ''));
        const error = 2n * (rounded * denominator - numerator * 10n ** BigInt(decimals));
        expect(error <= denominator && error >= -denominator).toBe(true);
        if (error === denominator || error === -denominator) expect(rounded % 2n).toBe(0n);
        expect(roundedHalfEven({ numerator, denominator }, decimals)).toBe(Number(text));
      }),
      { numRuns: 1000 },
    );
  });
});

describe('a value and a threshold (common practice, no source)', () => {
  it.each([
    [450, '<=', true],
    [450, '<', false],
    [450, '>=', true],
    [450, '>', false],
    [450.1, '<=', false],
    [449.9, '<', true],
    [449.9, '>=', false],
    [450.1, '>', true],
  ] as const)('%d %s 450 is %s', (value, operator, crossed) => {
    expect(compare(value, 0.05, operator, 450).crossed).toBe(crossed);
  });

  it.each([
    [446, 4, true],
    [454, 4, true],
    [445.9, 4, false],
    [454.1, 4, false],
    [450, 0, true],
    [1000, null, true],
  ])('%d with U = %s leaves it open: %s', (value, uncertainty, isOpen) => {
    expect(compare(value, uncertainty, '<=', 450).within_uncertainty).toBe(isOpen);
  });
});

describe('the distance between marks', () => {
  const bands = (...graduations: (readonly [number, number])[]) => ({
    ...WET_UNIT,
    graduations: graduations.map(([up_to, mark]) => ({ up_to_ml: dec(up_to), mark_ml: dec(mark) })),
  });

  it.each([
    [0, 1000],
    [50, 1000],
    [50.001, 10_000],
    [150, 10_000],
    [151, 10_000],
  ])('at %d mL, marked by 1 mL up to 50 and by 10 up to 150, is %d µL', (ml, expected) => {
    expect(graduationAt(bands([50, 1], [150, 10]), microlitres(ml * 1000))).toBe(expected);
  });

  it('is none where the unit has no marks', () => {
    expect(graduationAt(bands(), microlitres(100))).toBe(0);
  });
});

describe('a fraction', () => {
  it('adds exactly: 1/3 + 1/6 is 1/2, 1/7 + 2/7 is 3/7', () => {
    expect(roundHalfEven(add(rational(1, 3), rational(1, 6)), 3)).toBe('0.500');
    expect(add(rational(1, 7), rational(2, 7))).toEqual({ numerator: 3n, denominator: 7n });
  });

  it.each([
    [1, 0],
    [1, -1],
    [0.5, 1],
    [Number.NaN, 1],
  ])('refuses %d/%d', (numerator, denominator) => {
    expect(() => rational(numerator, denominator)).toThrow(RangeError);
  });

  it('says which denominator it refuses', () => {
    expect(() => rational(1, -1)).toThrow('denominator -1 is not positive');
  });

  it.each([
    ['whole microlitres keep their digits', rational(12_345, 1), '12.345'],
    ['of another form too', rational(24_690, 2), '12.345'],
    ['a part of one is rounded once, to 1 decimal', rational(24_691, 2), '12.3'],
    ['a tie goes to the even digit', rational(500_001, 2), '250.0'],
    ['a negative part of one', rational(-1, 3), '0.0'],
  ])('of microlitres as millilitres: %s', (_, volume, text) => {
    expect(millilitres(volume)).toBe(text);
  });
});
