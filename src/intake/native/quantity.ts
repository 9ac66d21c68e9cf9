/** Numbers on the wire: read with their digits, never coerced from text, null or true. */
import { z } from 'zod';
import { Decimal } from '../../domain/numbers/decimal.ts';
import { ExactNumber } from '../../json/exact-json.ts';

interface Bounds {
  readonly least: number;
  readonly most: number;
  /** What is wrong with a number below `least`, and the mend. */
  readonly below: (digits: string) => string;
}

/** Separates what is wrong from the mend inside a zod message. */
export const MEND = ' — ';

function decimal({ least, most, below }: Bounds, described: Readonly<Record<string, unknown>>) {
  return z
    .custom<ExactNumber>((value) => value instanceof ExactNumber, {
      error: `is not a JSON number${MEND}send a plain number such as 12 or 12.5, without quotes`,
    })
    .meta(described)
    .transform((number, context) => {
      const value = Decimal.parse(number.text);
      if (value === undefined) {
        const message = `has an exponent, over 3 decimals or over 9 digits before the point${MEND}send at most 3 decimals`;
        context.issues.push({ code: 'custom', message, input: number });
        return z.NEVER;
      }
      const isMinusZero = value.thousandths === 0 && value.text.startsWith('-');
      if (value.thousandths < least * 1000 || (isMinusZero && least === 0)) {
        context.issues.push({ code: 'custom', message: below(number.text), input: number });
        return z.NEVER;
      }
      if (value.thousandths > most * 1000) {
        const message = `is over ${most}${MEND}send at most ${most}`;
        context.issues.push({ code: 'custom', message, input: number });
        return z.NEVER;
      }
      return value;
    });
}

/** JSON Schema of a quantity: a number in the field's unit, or a value with another UCUM unit to convert from. */
function described(id: string, unit: string, least: number, most: number): Readonly<Record<string, unknown>> {
  const number = { type: 'number', minimum: least, maximum: most, multipleOf: 0.001 };
  const withUnit = {
    type: 'object',
    properties: {
      value: { type: 'number', description: 'A plain number: at most 9 digits before and after the point.' },
      unit: { type: 'string', maxLength: 60, description: 'UCUM code, such as kPa or mm[Hg].' },
    },
    required: ['value', 'unit'],
    additionalProperties: false,
  };
  const description = `${unit}. At most 3 decimals; the digits are kept as sent. With another unit the value is converted and the original kept in as_sent.`;
  return { id, description, anyOf: [number, withUnit] };
}

const positive = (digits: string): string =>
  `is negative${MEND}send ${digits.slice(1)}: magnitudes are positive`;

/** A magnitude, 0 or more. @param most well beyond anything real: it catches slips of the unit */
const magnitude = (id: string, unit: string, most: number) =>
  decimal({ least: 0, most, below: positive }, described(id, unit, 0, most));

export const volumeMl = magnitude('VolumeMl', 'mL', 100_000);
export const pressureMagnitude = magnitude(
  'PressureMagnitude',
  'cm H2O below atmosphere, a positive magnitude',
  1000,
);
export const flowMlMin = magnitude('FlowMlMin', 'mL/min', 100_000);
/** Signed against atmosphere. */
export const signedPressure = decimal(
  { least: -1000, most: 1000, below: () => `is under -1000${MEND}send cm H2O, signed against atmosphere` },
  described('SignedPressure', 'cm H2O, signed against atmosphere (negative is below)', -1000, 1000),
);
export const weightKg = decimal(
  { least: 0.1, most: 600, below: () => `is not a body weight${MEND}send kg, 0.1 or more` },
  described('WeightKg', 'kg', 0.1, 600),
);

/** A grade on an ordinal scale: a whole number. */
export const wholeNumber = decimal(
  { least: 0, most: 100, below: positive },
  {
    id: 'Grade',
    type: 'integer',
    minimum: 0,
    maximum: 100,
    description: 'A grade on the scale of the unit.',
  },
).refine((value) => value.thousandths % 1000 === 0 && !value.text.includes('.'), {
  error: `is not a whole number${MEND}send a grade such as 0 or 3`,
});
