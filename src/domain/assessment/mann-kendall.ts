/**
 * Mann-Kendall test for a monotone trend (Mann 1945, Econometrica 13:245; Kendall, Rank Correlation Methods, 1975).
 *
 * S = number of later values above earlier ones minus the number below. Up to 10 values its distribution is exact,
 * ties included; beyond that normal, with the variance corrected for ties and 1 taken off |S| for continuity.
 */
export interface MannKendall {
  readonly s: number;
  /** Two-sided: the chance of a trend at least this strong where there is none. */
  readonly p: number;
  readonly exact: boolean;
}

const MOST_EXACT = 10;

/** @param values in order of time, any finite numbers */
export function mannKendall(values: readonly number[]): MannKendall {
  const s = kendallS(values);
  const ties = tieSizes(values);
  const exact = values.length <= MOST_EXACT;
  return { s, p: exact ? exactP(s, ties) : normalP(s, values.length, ties), exact };
}

function kendallS(values: readonly number[]): number {
  let s = 0;
  values.forEach((earlier, i) => {
    for (const later of values.slice(i + 1)) s += Math.sign(later - earlier);
  });
  return s;
}

function tieSizes(values: readonly number[]): number[] {
  const counts = new Map<number, number>();
  for (const value of values) counts.set(value, (counts.get(value) ?? 0) + 1);
  return [...counts.values()];
}

/**
 * Inversions of the arrangements of a multiset are counted by the Gaussian multinomial coefficient; with T pairs that
 * are not tied, an arrangement with k inversions has S = T − 2k.
 */
function exactP(s: number, ties: readonly number[]): number {
  const inversions = gaussianMultinomial(ties);
  const untied = inversions.length - 1;
  const total = inversions.reduce((sum, count) => sum + count, 0);
  const asStrong = inversions.reduce(
    (sum, count, k) => (Math.abs(untied - 2 * k) >= Math.abs(s) ? sum + count : sum),
    0,
  );
  return asStrong / total;
}

/** Coefficients of [n]! / ([t1]! [t2]! …) as a polynomial in q. */
function gaussianMultinomial(ties: readonly number[]): number[] {
  let coefficients = [1];
  let placed = 0;
  for (const size of ties) {
    for (let i = 1; i <= size; i += 1) {
      placed += 1;
      coefficients = divided(multiplied(coefficients, placed), i);
    }
  }
  return coefficients;
}

/** Times [m] = 1 + q + … + q^(m−1). */
function multiplied(polynomial: readonly number[], m: number): number[] {
  const product: number[] = [];
  polynomial.forEach((coefficient, i) => {
    for (let j = 0; j < m; j += 1) product[i + j] = (product[i + j] ?? 0) + coefficient;
  });
  return product;
}

/** Divided by [m], which goes without remainder here. */
function divided(polynomial: readonly number[], m: number): number[] {
  const quotient: number[] = [];
  let window = 0;
  for (let i = 0; i <= polynomial.length - m; i += 1) {
    const coefficient = (polynomial[i] ?? 0) - window;
    quotient.push(coefficient);
    window += coefficient - (quotient[i - m + 1] ?? 0);
  }
  return quotient;
}

function normalP(s: number, n: number, ties: readonly number[]): number {
  // Where all are tied the variance is 0 as well.
  if (s === 0) return 1;
  const term = (k: number): number => k * (k - 1) * (2 * k + 5);
  const variance = (term(n) - ties.reduce((sum, t) => sum + term(t), 0)) / 18;
  return erfc((Math.abs(s) - 1) / Math.sqrt(2 * variance));
}

/** Complementary error function, relative error under 1.2e-7 (Numerical Recipes, 2nd ed., section 6.2; from memory). */
function erfc(x: number): number {
  const t = 1 / (1 + x / 2);
  const series = [
    -1.26551223, 1.00002368, 0.37409196, 0.09678418, -0.18628806, 0.27886807, -1.13520398, 1.48851587,
    -0.82215223, 0.17087277,
  ];
  const sum = series.reduceRight((inner, coefficient) => coefficient + t * inner, 0);
  return t * Math.exp(-x * x + sum);
}
