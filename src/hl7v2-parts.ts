/** HL7 v2 put together for the service. */
import { createHl7v2, type Hl7v2, type TakeParts } from './hl7v2/take.ts';
import { writeRefusal } from './http/allowed.ts';

/** The same checks of access hold as at every other door. */
export const hl7v2Of = (parts: Omit<TakeParts, 'mayNot' | 'now'>): Hl7v2 =>
  createHl7v2({
    ...parts,
    now: Date.now,
    mayNot: (principal, incoming) => writeRefusal(principal, parts.store, incoming),
  });
