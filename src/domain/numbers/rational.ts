/** An exact fraction; the denominator is positive. Used where a volume is spread over time or divided by weight. */
export interface Rational {
  readonly numerator: bigint;
  readonly denominator: bigint;
}

/** @throws {RangeError} when the denominator is not positive or either is not a whole number */
export function rational(numerator: number, denominator = 1): Rational {
  if (denominator <= 0) throw new RangeError(`denominator ${denominator} is not positive`);
  return { numerator: BigInt(numerator), denominator: BigInt(denominator) };
}

export function add(a: Rational, b: Rational): Rational {
  if (b.numerator === 0n) return a;
  if (a.numerator === 0n) return b;
  if (a.denominator === b.denominator) {
    return { numerator: a.numerator + b.numerator, denominator: a.denominator };
  }
  return {
    numerator: a.numerator * b.denominator + b.numerator * a.denominator,
    denominator: a.denominator * b.denominator,
  };
}

/** The nearest double, for comparing; never for output. */
export const approximately = ({ numerator, denominator }: Rational): number =>
  Number(numerator) / Number(denominator);

/** As {@link roundHalfEven}, as a number: the one nearest to those digits. */
export function roundedHalfEven(value: Rational, decimals: number): number {
  const scaled = scaledHalfEven(value, decimals);
  return scaled === null ? Number(roundHalfEven(value, decimals)) : scaled / 10 ** decimals;
}

/**
 * The fraction as decimal digits with exactly `decimals` places, rounded half to even once
 * (IEEE 754-2019 roundTiesToEven); never '-0.0'.
 */
export function roundHalfEven(value: Rational, decimals: number): string {
  const rounded = scaledHalfEven(value, decimals) ?? scaledWhole(value, decimals);
  const digits = `${rounded < 0 ? -rounded : rounded}`.padStart(decimals + 1, '0');
  const sign = rounded < 0 ? '-' : '';
  if (decimals === 0) return `${sign}${digits}`;
  return `${sign}${digits.slice(0, -decimals)}.${digits.slice(-decimals)}`;
}

/** So many units of the last decimal place; null where doubles would not be exact. */
function scaledHalfEven({ numerator, denominator }: Rational, decimals: number): number | null {
  const scaled = Number(numerator) * 10 ** decimals;
  const of = Number(denominator);
  // Up to here doubles are exact, and so is twice a remainder: whole numbers of any size take ten times as long.
  if (Math.abs(scaled) > MOST_EXACT || of > MOST_EXACT) return null;
  const magnitude = Math.abs(scaled);
  const rest = magnitude % of;
  let rounded = (magnitude - rest) / of;
  if (2 * rest > of || (2 * rest === of && rounded % 2 === 1)) rounded += 1;
  return scaled < 0 && rounded > 0 ? -rounded : rounded;
}

const MOST_EXACT = 2 ** 52;

/** The same of numbers of any size. */
function scaledWhole({ numerator, denominator }: Rational, decimals: number): bigint {
  const scaled = numerator * 10n ** BigInt(decimals);
  const magnitude = scaled < 0n ? -scaled : scaled;
  let rounded = magnitude / denominator;
  const twice = (magnitude % denominator) * 2n;
  if (twice > denominator || (twice === denominator && rounded % 2n === 1n)) rounded += 1n;
  return scaled < 0n ? -rounded : rounded;
}
