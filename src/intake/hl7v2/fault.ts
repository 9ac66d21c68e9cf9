/** What is wrong with an HL7 v2 message, and where: told in ERR segments, and on the native API. */
import { type Fault, shown } from '../fault.ts';

/** HL7 table 0357, message error condition codes (HL7 v2.6, 2.14.5.3). */
export const ERROR_CONDITIONS = {
  100: 'Segment sequence error',
  101: 'Required field missing',
  102: 'Data type error',
  103: 'Table value not found',
  104: 'Value too long',
  200: 'Unsupported message type',
  201: 'Unsupported event code',
  202: 'Unsupported processing id',
  203: 'Unsupported version id',
  204: 'Unknown key identifier',
  205: 'Duplicate key identifier',
  206: 'Application record locked',
  207: 'Application internal error',
} as const;
export type ErrorCondition = keyof typeof ERROR_CONDITIONS;

/** A place in a message, counted from 1 as the standard counts. */
export interface Place {
  readonly segment: string;
  /** Which of the segments of that name. */
  readonly sequence: number;
  readonly field?: number;
  readonly component?: number;
}

export interface Hl7Fault extends Fault {
  readonly place: Place;
  readonly code: ErrorCondition;
}

/** As people write it: `OBX[2]-5.1`. */
export const placeText = ({ segment, sequence, field, component }: Place): string =>
  `${segment}[${sequence}]${field === undefined ? '' : `-${field}`}${component === undefined ? '' : `.${component}`}`;

/** @param value what stands there; undefined for nothing */
export const hl7Fault = (
  place: Place,
  code: ErrorCondition,
  value: string | undefined,
  detail: string,
  mend: string,
): Hl7Fault => ({ pointer: placeText(place), place, code, value: shown(value), detail, mend });

/** Ends the reading of a message where nothing more can be made of it. */
export class Unreadable extends Error {
  readonly fault: Hl7Fault;
  constructor(fault: Hl7Fault) {
    super(fault.detail);
    this.fault = fault;
  }
}

/** What could be read; undefined, and a fault more, where that could not be. */
export function orFault<T>(read: () => T, faults: Hl7Fault[]): T | undefined {
  try {
    return read();
  } catch (error) {
    if (!(error instanceof Unreadable)) throw error;
    faults.push(error.fault);
    return undefined;
  }
}
