/** Which codings and categories issued Observations carry, from the environment. */
import { z } from 'zod';
import type { Category } from '../domain/vocabulary/configuration.ts';
import type { ObservationName } from '../domain/vocabulary/fact.ts';
import { CATEGORIES, FACT_CODES } from '../fhir/codes.ts';

const category = z.enum(Object.keys(CATEGORIES) as [Category, ...Category[]]);
const fact = z.enum(Object.keys(FACT_CODES) as [ObservationName, ...ObservationName[]]);

/** By fact. */
export const categories = z.partialRecord(fact, category);

export const snomedSwitch = z
  .enum(['on', 'off'], { error: "is neither 'on' nor 'off'" })
  .default('on')
  .transform((text) => text === 'on');

/** `level=survey,body-weight=vital-signs` */
export const categoryList = z
  .string()
  .default('')
  .transform((text, context) => {
    const pairs = text === '' ? [] : text.split(',').map((pair) => pair.split('='));
    const names = pairs.map(([name]) => name);
    const parsed = categories.safeParse(Object.fromEntries(pairs));
    const isPlain = pairs.every(({ length }) => length === 2) && new Set(names).size === names.length;
    if (parsed.success && isPlain) return parsed.data;
    const known = `facts ${fact.options.join(' ')}; categories ${category.options.join(' ')}`;
    context.addIssue(
      `is no list such as level=survey,body-weight=vital-signs that names each fact once: ${known}`,
    );
    return z.NEVER;
  });
