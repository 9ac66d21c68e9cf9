/** The shape of a row, quantity by quantity: what a facility's file may hold of its own, and what the ledger keeps of all. */
import { z } from 'zod';
import { Decimal } from '../domain/numbers/decimal.ts';

const LONGEST_H = 168;
const decimal = z.custom<Decimal>((value) => value instanceof Decimal, {
  error: 'is not a number with at most 3 decimals',
});
export const hours = decimal
  .transform((value) => value.thousandths / 1000)
  .refine((value) => value > 0 && value <= LONGEST_H, {
    error: `must be over 0 and at most ${LONGEST_H} hours`,
  });
const fromHour = decimal
  .transform((value) => value.thousandths / 1000)
  .refine((value) => value >= 0, { error: 'must not be negative' });
export const wholeHours = hours.refine(Number.isInteger, { error: 'must be whole hours' });
export const threshold = decimal.refine((value) => value.thousandths >= 0, { error: 'must not be negative' });
export const words = z.string().min(1).max(300);
const id = z
  .string()
  .regex(/^[a-z][a-z0-9-]{0,29}$/, { error: 'is no id: 1 to 30 of a-z 0-9 -, a letter first' });
const listOf = <T extends string>(names: readonly [T, ...T[]]) => z.array(z.enum(names)).min(1).nullable();

const clock = z
  .strictObject({
    origin: z.enum(['chest-closure', 'unit-arrival', 'injury', 'placement', 'none']),
    from_h: fromHour,
    to_h: hours.nullable(),
  })
  .refine(({ from_h, to_h }) => to_h === null || to_h > from_h, { error: 'must end after it starts' })
  .refine(({ origin, from_h, to_h }) => origin !== 'none' || (from_h === 0 && to_h === null), {
    error: 'without origin has no hours: send from_h 0 and to_h null, or name an origin',
  });

const row = {
  id,
  title: words,
  populations: listOf(['adult', 'paediatric']),
  indications: listOf(['cardiac-surgery', 'thoracic-surgery', 'trauma', 'pneumothorax', 'effusion', 'other']),
  sites: listOf(['pleural-left', 'pleural-right', 'mediastinal', 'pericardial']),
  fluids: listOf(['serous', 'serosanguineous', 'sanguineous', 'chylous', 'purulent', 'other']),
  basis: z.enum(['one-tube', 'all-tubes']),
  operator: z.enum(['>', '>=']),
  threshold,
  clock,
  max_gap_h: hours.default(2),
  source: words,
  on: z.boolean(),
};
export const volume = z.strictObject({
  ...row,
  quantity: z.literal('volume'),
  unit: z.enum(['mL', 'mL/kg']),
  window_h: hours,
});
export const rate = z.strictObject({
  ...row,
  quantity: z.literal('rate'),
  unit: z.enum(['mL/h', 'mL/kg/h']),
  consecutive_h: wholeHours,
});
/** What holds for one drain at any time, whatever the fluid. */
export const oneReading = {
  ...row,
  fluids: z.null({ error: 'must be null: this quantity does not depend on the fluid' }),
  basis: z.literal('one-tube', { error: "must be 'one-tube' for this quantity" }),
  clock: clock.refine(({ origin }) => origin === 'none', {
    error: "must have origin 'none' for this quantity",
  }),
};
export const pressure = z.strictObject({
  ...oneReading,
  quantity: z.enum(['total-negativity', 'imposed-below-ordered', 'seal-below-fill']),
  unit: z.literal('cm[H2O]'),
});
export const chamber = z.strictObject({
  ...oneReading,
  quantity: z.literal('chamber-fill'),
  unit: z.literal('1'),
  threshold: threshold.refine((value) => value.thousandths <= 1000, { error: 'must be at most 1' }),
});
export const leakDays = z.strictObject({
  ...oneReading,
  quantity: z.literal('leak-days'),
  unit: z.literal('d'),
});
export const stopping = z.strictObject({
  ...oneReading,
  quantity: z.literal('output-stopping'),
  unit: z.literal('mL/h'),
  operator: z.literal('<', { error: "must be '<' for this quantity: output stops below its threshold" }),
  window_h: hours,
  steady_h: hours,
  steady_ml_h: threshold,
});
