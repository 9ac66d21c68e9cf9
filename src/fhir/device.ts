/** A collection unit that is attached to a drain, as the exact text of a FHIR R4 Device. */

import type { IssueStatus } from '../domain/facts/issue.ts';
import type { Decimal } from '../domain/numbers/decimal.ts';
import type { Fact } from '../domain/vocabulary/fact.ts';
import type { UnitProfile } from '../domain/vocabulary/unit-profile.ts';
import { FrameBuilder, type Framed } from '../json/frame.ts';
import { UNIT_CODES, type UnitProperty } from './device-codes.ts';
import { concept, localSystem, quantityEnd } from './fixed-parts.ts';
import type { IssueContext } from './reference.ts';

export interface IssuedUnit {
  readonly fact: Fact;
  readonly version: number;
  readonly status: IssueStatus;
}

export type WriteDevice = (issued: IssuedUnit, context: IssueContext) => Framed;

/**
 * Says what the unit is and whose, not whether it is still attached: that changes with a later entry, and is charted there.
 * @param canonical start of our canonical URLs, without a slash at the end
 */
export function createDeviceWriter(canonical: string): WriteDevice {
  const system = localSystem(canonical, 'unit');
  const conceptOf = (code: keyof typeof UNIT_CODES): string =>
    concept([{ system, code, display: UNIT_CODES[code].display }]);
  return ({ fact: { anchor, value }, version, status }, { drain, patient, issuedAt }) => {
    if (!('unit' in value)) throw new Error('a collection unit without a profile');
    const { unit, serial } = value;
    const to = new FrameBuilder().fixed('{"resourceType":"Device","id":"collection-unit.');
    to.hole(drain).fixed('.').hole(anchor).fixed('","meta":{"versionId":"').hole(String(version));
    to.fixed('","lastUpdated":"').hole(issuedAt);
    to.fixed(`"},"identifier":[{"system":"${canonical}/device","value":"collection-unit.`);
    to.hole(drain).fixed('.').hole(anchor).fixed('"}]');
    if (status === 'entered-in-error') to.fixed(',"status":"entered-in-error"');
    if (serial !== null) to.fixed(',"serialNumber":').hole(JSON.stringify(serial));
    to.fixed(',"deviceName":[{"name":').hole(JSON.stringify(unit.id)).fixed(',"type":"other"}]');
    to.fixed(',"type":').fixed(conceptOf(unit.kind)).fixed(',"property":[');
    propertiesOf(unit).forEach(([property, { text }], i) => {
      to.fixed(`${i === 0 ? '' : ','}{"type":${conceptOf(property)},"valueQuantity":[{"value":`).hole(text);
      to.fixed(`${quantityEnd(UNIT_CODES[property].unit, false)}]}`);
    });
    to.fixed(']');
    if (patient !== null) to.fixed(',"patient":').hole(patient);
    return to.fixed('}').built();
  };
}

function propertiesOf(unit: UnitProfile): (readonly [UnitProperty, Decimal])[] {
  const properties: (readonly [UnitProperty, Decimal])[] = [['capacity', unit.capacity_ml]];
  if (unit.leak_scale_max !== undefined) properties.push(['leak-scale-maximum', unit.leak_scale_max]);
  if (unit.seal_fill_cmh2o !== undefined) properties.push(['seal-fill', unit.seal_fill_cmh2o]);
  return properties;
}
