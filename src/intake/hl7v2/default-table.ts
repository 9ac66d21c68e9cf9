/** Codes and units that every facility's table starts with: its own rows are asked first. */
import type { ObservationRow, UnitRow } from '../../domain/vocabulary/message-mapping.ts';
import { RAW_CODES } from '../../fhir/raw-codes.ts';

/** Name of our code system in OBX-3; HL7 table 0396 leaves names that begin with 99 to local use. */
const OWN_CODES = '99DRN';

export const DEFAULT_OBSERVATIONS: readonly ObservationRow[] = [
  ...Object.keys(RAW_CODES).map((code) => ({ code, system: OWN_CODES, reads: code })),
  // ISO/IEEE 11073-10101, "Drainage volume in bag": as the MII intensive-care profiles of fluid balance name it.
  { code: '157740', system: 'MDC', reads: 'level' },
  { code: '29463-7', system: 'LN', reads: 'body-weight' },
  { code: '3141-9', system: 'LN', reads: 'body-weight' },
  { code: '9255-1', system: 'LN', reads: 'fluid-character' },
];

/** ISO/IEEE 11073-10101 units, as they stand in public samples of IHE PCD-01 messages. */
export const DEFAULT_UNITS: readonly UnitRow[] = [
  { code: '263762', system: 'MDC', ucum: 'mL' },
  { code: '263875', system: 'MDC', ucum: 'kg' },
  { code: '266016', system: 'MDC', ucum: 'mm[Hg]' },
  { code: '266048', system: 'MDC', ucum: 'cm[H2O]' },
];
