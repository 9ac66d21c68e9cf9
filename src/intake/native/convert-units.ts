/** `{"value": 1.96, "unit": "kPa"}` in a field that ends in _cmh2o becomes cm H2O; what was sent is kept beside it. */
import type { AsSent } from '../../domain/vocabulary/received.ts';
import { ExactNumber, type ExactValue } from '../../json/exact-json.ts';
import { type Fault, pointerOf, shown } from '../fault.ts';
import { convert, PLAIN_NUMBER, unitOfField } from '../ucum.ts';

export interface InFieldUnits {
  readonly value: ExactValue;
  readonly sent: readonly AsSent[];
  readonly faults: readonly Fault[];
}

/** The same message where nothing has another unit. */
export function inFieldUnits(value: ExactValue): InFieldUnits {
  const sent: AsSent[] = [];
  const faults: Fault[] = [];
  return { value: walk(value, [], sent, faults), sent, faults };
}

function walk(value: ExactValue, path: readonly string[], sent: AsSent[], faults: Fault[]): ExactValue {
  if (!isMembers(value)) return value;
  let changed = value;
  for (const [key, member] of Object.entries(value)) {
    if (typeof member !== 'object' || member === null || member instanceof ExactNumber) continue;
    const inner = [...path, key];
    const unit = unitOfField(key);
    const next =
      unit !== undefined && isQuantity(member)
        ? inUnit(member, unit, inner, sent, faults)
        : walk(member, inner, sent, faults);
    if (next !== member) changed = { ...changed, [key]: next };
  }
  return changed;
}

interface Quantity {
  readonly value: ExactNumber;
  readonly unit: string;
}

function inUnit(
  quantity: Quantity,
  unit: string,
  path: readonly string[],
  sent: AsSent[],
  faults: Fault[],
): ExactValue {
  const digits = convert(quantity.value.text, quantity.unit, unit);
  if (digits === undefined) {
    faults.push({ pointer: pointerOf(path), value: shown(quantity), ...whyNot(quantity, unit) });
    return quantity;
  }
  if (quantity.unit !== unit) {
    sent.push({ field: pointerOf(path), value: quantity.value.text, unit: quantity.unit });
  }
  return new ExactNumber(digits);
}

function whyNot({ value }: Quantity, unit: string): Pick<Fault, 'detail' | 'mend'> {
  if (!PLAIN_NUMBER.test(value.text))
    return {
      detail: 'has an exponent, or over 9 digits before or after the point',
      mend: 'send its value as a plain number, such as 120 or 12.5',
    };
  return {
    detail: `cannot be converted to ${unit} by UCUM`,
    mend: `send a plain number in ${unit}, or a value and the UCUM code of a unit of the same kind`,
  };
}

function isMembers(value: ExactValue): value is Record<string, ExactValue> {
  return (
    typeof value === 'object' && value !== null && !(value instanceof ExactNumber) && !Array.isArray(value)
  );
}

function isQuantity(value: object): value is Quantity {
  const { value: amount, unit, ...rest } = value as Record<string, unknown>;
  return amount instanceof ExactNumber && typeof unit === 'string' && Object.keys(rest).length === 0;
}
