/** What the header of a message (MSH) says of it, and whether it can be taken at all. */
import type { Er7, Segment } from './er7.ts';
import { textAt } from './er7.ts';
import { type ErrorCondition, type Hl7Fault, hl7Fault } from './fault.ts';

/** When an acknowledgement is wanted: always, never, of errors, of successes (HL7 table 0155). */
export type Wanted = 'AL' | 'NE' | 'ER' | 'SU';

export interface Header {
  /** Sending application and facility, as they stand in the message. */
  readonly sender: string;
  readonly controlId: string;
}

/** Which acknowledgements enhanced mode wants (HL7 v2.6, 2.9.3). */
export interface Wants {
  readonly accept: Wanted;
  readonly application: Wanted;
}

const VERSION = /^2\.[3-9](?:\.\d)?$/;
const WANTED = ['AL', 'NE', 'ER', 'SU', ''];

/** @throws {Unreadable} for an escape that is not known */
export const headerOf = (er7: Er7, msh: Segment): Header => ({
  sender: [3, 4].map((field) => textAt(er7, msh, field)).join('/'),
  controlId: textAt(er7, msh, 10),
});

/** Null in original mode. @throws {Unreadable} as above */
export function wantsOf(er7: Er7, msh: Segment): Wants | null {
  const [accept, application] = [textAt(er7, msh, 15), textAt(er7, msh, 16)];
  if (accept === '' && application === '') return null;
  return { accept: (accept || 'NE') as Wanted, application: (application || 'NE') as Wanted };
}

/** Why a message cannot be taken, whatever it holds; null when it may be. @throws {Unreadable} as above */
export function headerFault(er7: Er7, msh: Segment): Hl7Fault | null {
  const at = (field: number, component?: number) => ({
    segment: 'MSH',
    sequence: 1,
    field,
    ...(component === undefined ? {} : { component }),
  });
  const said = (field: number, component?: number): string =>
    textAt(er7, msh, field, component === undefined ? {} : { component });
  const wrong = (
    code: ErrorCondition,
    field: number,
    component: number | undefined,
    mend: string,
  ): Hl7Fault => {
    const value = said(field, component);
    const detail = value === '' ? 'is missing' : 'is not taken here';
    return hl7Fault(at(field, component), value === '' ? 101 : code, value || undefined, detail, mend);
  };
  if (said(10) === '') return wrong(101, 10, undefined, 'send an identifier of the message');
  if (said(9, 1) !== 'ORU') return wrong(200, 9, 1, 'send ORU^R01 messages only');
  if (said(9, 2) !== 'R01') return wrong(201, 9, 2, 'send ORU^R01 messages only');
  if (said(11, 1) !== 'P') return wrong(202, 11, 1, 'send P: what is for training or debugging is no chart');
  if (!VERSION.test(said(12, 1))) return wrong(203, 12, 1, 'send a version from 2.3 to 2.9');
  for (const field of [15, 16]) {
    if (!WANTED.includes(said(field))) return wrong(103, field, undefined, 'send AL, NE, ER, SU, or nothing');
  }
  return er7.segments.some(({ name }) => name === 'DSC')
    ? hl7Fault({ segment: 'DSC', sequence: 1 }, 100, undefined, 'continues in another', 'send it whole')
    : null;
}
