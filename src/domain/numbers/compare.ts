/** How a value stands to a threshold, and whether its uncertainty leaves that open. */
export interface Comparison {
  readonly crossed: boolean;
  /** |value − threshold| <= U, or U not known: it may be otherwise. */
  readonly within_uncertainty: boolean;
}

/** Compares unrounded numbers; `>` and `>=` differ at the threshold itself. */
export function compare(
  value: number,
  uncertainty: number | null,
  operator: '>' | '>=' | '<' | '<=',
  threshold: number,
): Comparison {
  return {
    crossed: COMPARE[operator](value, threshold),
    within_uncertainty: uncertainty === null || Math.abs(value - threshold) <= uncertainty,
  };
}

const COMPARE = {
  '>': (a: number, b: number) => a > b,
  '>=': (a: number, b: number) => a >= b,
  '<': (a: number, b: number) => a < b,
  '<=': (a: number, b: number) => a <= b,
} as const;
