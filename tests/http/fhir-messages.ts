/** Observations of an invented ward, as a device or a flowsheet would send them. */
import { at, id } from './messages.ts';

const LOCAL = 'http://example.org/drainledger/CodeSystem/chest-drain-';
export const UCUM = 'http://unitsofmeasure.org';

export const concept = (code: string, system = `${LOCAL}observation`) => ({ coding: [{ system, code }] });
export const value = (code: string) => ({ valueCodeableConcept: concept(code, `${LOCAL}value`) });
export const quantity = (number: number, code: string) => ({
  valueQuantity: { value: number, unit: code, system: UCUM, code },
});
export const part = (code: string, more: object) => ({ code: concept(code), ...more });

/** @param more in the place of what an ordinary one has; null takes an element away */
export function raw(key: string, code: string, time: string, more: object = {}): object {
  const whole = {
    resourceType: 'Observation',
    status: 'final',
    identifier: [id(key)],
    code: concept(code),
    subject: { reference: 'Patient/1' },
    focus: [{ identifier: id('placed') }],
    performer: [{ reference: 'Practitioner/n1' }],
    effectiveDateTime: at(time),
    ...more,
  };
  return Object.fromEntries(Object.entries(whole).filter(([, element]) => element !== null));
}

export const level = (key: string, time: string, ml: number, more: object = {}): object =>
  raw(key, 'level', time, { ...quantity(ml, 'mL'), ...more });

export const bundleOf = (type: 'batch' | 'transaction', ...entry: object[]): object => ({
  resourceType: 'Bundle',
  type,
  entry,
});
export const create = (resource: object, more: object = {}): object => ({
  resource,
  request: { method: 'POST', url: 'Observation', ...more },
});
