/** What an entry issues about a drain, as texts of resources, and with what those are written. */

import type { Policy } from '../domain/advisories/policy.ts';
import type { Subject } from '../domain/book/book.ts';
import type { DrainChange } from '../domain/book/changes.ts';
import type { Issued } from '../domain/facts/issue.ts';
import type { Terminology } from '../domain/vocabulary/configuration.ts';
import type { Reference, Site } from '../domain/vocabulary/entry.ts';
import { isObserved } from '../domain/vocabulary/fact.ts';
import { createDeviceWriter, type WriteDevice } from '../fhir/device.ts';
import { createRegisteredWriter, type WriteRegistered } from '../fhir/device-registry.ts';
import { createObservationWriter, type WriteObservation } from '../fhir/observation.ts';
import { createProvenanceWriter, type WriteProvenance, type WrittenEntry } from '../fhir/provenance.ts';
import { referenceText } from '../fhir/reference.ts';
import type { DrainIssue, Place } from '../store/port.ts';

export interface RecordSettings {
  readonly policy: Policy;
  /** Start of our canonical URLs. */
  readonly canonical: string;
  /** Name of this log. */
  readonly origin: string;
  readonly terminology: Terminology;
}

export interface Tools {
  readonly policy: Policy;
  readonly writeObservation: WriteObservation;
  readonly writeDevice: WriteDevice;
  readonly writeProvenance: WriteProvenance;
  readonly writeRegistered: WriteRegistered;
}

export const toolsOf = ({ policy, canonical, origin, terminology }: RecordSettings): Tools => ({
  policy,
  writeObservation: createObservationWriter(canonical, terminology),
  writeDevice: createDeviceWriter(canonical),
  writeProvenance: createProvenanceWriter(canonical, origin),
  writeRegistered: createRegisteredWriter(canonical),
});

export const textOfPatient = (patient: Reference | undefined): string | null =>
  patient === undefined ? null : referenceText(patient);

interface IssuedOf extends Pick<DrainChange, 'drain' | 'issued'> {
  readonly patient: Reference | undefined;
  readonly site: Site | null;
}

/**
 * Facts are of the drain's patient. Those of a drain that was taken from its patient are told once more to the record in
 * which they stand: they never were that patient's.
 */
function ofPatient({ drain, view: { patient, site }, issued }: DrainChange, subject: Subject): IssuedOf {
  const before = subject.get(drain)?.view;
  if (patient !== undefined || before?.patient === undefined) return { drain, patient, site, issued };
  const withdrawn = issued.map((each): Issued => ({ ...each, status: 'entered-in-error' }));
  return { drain, patient: before.patient, site: site ?? before.site, issued: withdrawn };
}

export function issueOf(
  change: DrainChange,
  subject: Subject,
  entry: WrittenEntry,
  place: Place,
  { writeObservation, writeDevice, writeProvenance }: Tools,
): DrainIssue {
  const { drain, patient: whose, site, issued } = ofPatient(change, subject);
  const patient = textOfPatient(whose);
  const context = { drain, patient, site, issuedAt: place.recordedAt };
  return {
    drain,
    // After what it is about, so that whoever takes them in order holds that already.
    resources:
      issued.length === 0
        ? []
        : [
            ...issued.map(({ fact, version, status }) =>
              isObserved(fact)
                ? writeObservation({ fact, version, status }, context)
                : writeDevice({ fact, version, status }, context),
            ),
            writeProvenance(issued, { entry, ...context }),
          ],
    reissued: issued
      .filter(({ version, fact }) => version > 1 || fact.anchor !== entry.id)
      .map(({ key, version, status }) => ({ factKey: key, version, status })),
    deliverable: patient !== null,
  };
}
