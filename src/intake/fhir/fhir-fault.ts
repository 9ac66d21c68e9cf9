import type { IssueCode } from '../../fhir/outcome.ts';
import type { Fault } from '../fault.ts';

/** A fault of a FHIR resource: its pointer is the FHIRPath of the element. */
export interface FhirFault extends Fault {
  readonly code: IssueCode;
}

/** `/component/0/code` as `Observation.component[0].code`. */
export function pathOf(pointer: string, root: string): string {
  return pointer
    .split('/')
    .slice(1)
    .reduce((path, step) => (/^\d+$/.test(step) ? `${path}[${step}]` : `${path}.${step}`), root);
}

/** What a schema found, by what kind of issue it is to FHIR (valueset-issue-type.html). */
export function fhirFault(fault: Fault, path: string): FhirFault {
  const missing = fault.detail === 'is missing' || fault.value === undefined;
  const unknown = fault.detail === 'is no field of this';
  return { ...fault, pointer: path, code: missing ? 'required' : unknown ? 'structure' : 'value' };
}
