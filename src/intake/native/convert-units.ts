/** `{"value": 1.96, "unit": "kPa"}` in a field that ends in _cmh2o becomes cm H2O; what was sent is kept beside it. */
import type { AsSent } from '../../domain/entry.ts';
import { ExactNumber, type ExactValue } from '../../json/exact-json.ts';
import { type Fault, pointerOf, shown } from '../fault.ts';
import { convert, unitOfField } from '../ucum.ts';

export interface InFieldUnits {
  readonly value: ExactValue;
  readonly sent: readonly AsSent[];
  readonly faults: readonly Fault[];
}

export function inFieldUnits(value: ExactValue): InFieldUnits {
  const sent: AsSent[] = [];
  const faults: Fault[] = [];
  return { value: walk(value, [], sent, faults), sent, faults };
}

function walk(value: ExactValue, path: readonly string[], sent: AsSent[], faults: Fault[]): ExactValue {
  if (typeof value !== 'object' || value === null || value instanceof ExactNumber || Array.isArray(value))
    return value;
  const members = Object.entries(value as Record<string, ExactValue>).map(([key, member]) => {
    const unit = unitOfField(key);
    const inner = [...path, key];
    if (unit === undefined || !isQuantity(member)) return [key, walk(member, inner, sent, faults)];
    const digits = convert(member.value.text, member.unit, unit);
    if (digits === undefined) {
      const detail = `has a unit that UCUM cannot convert to ${unit}`;
      faults.push({
        pointer: `${pointerOf(inner)}/unit`,
        value: shown(member.unit),
        detail,
        mend: `send ${unit}`,
      });
      return [key, member];
    }
    sent.push({ field: pointerOf(inner), value: member.value.text, unit: member.unit });
    return [key, new ExactNumber(digits)];
  });
  return Object.fromEntries(members);
}

function isQuantity(value: ExactValue): value is { readonly value: ExactNumber; readonly unit: string } {
  if (typeof value !== 'object' || value === null) return false;
  const { value: amount, unit, ...rest } = value as Record<string, unknown>;
  return amount instanceof ExactNumber && typeof unit === 'string' && Object.keys(rest).length === 0;
}
