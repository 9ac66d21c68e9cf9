/** Whom a message names, whether or not anything can be made of the rest of it. */
import type { Identifier, Reference } from '../../domain/vocabulary/entry.ts';
import type { MessageMapping } from '../../domain/vocabulary/message-mapping.ts';
import { type Er7, nameAt, partOf, repetitions, type Segment } from './er7.ts';
import { orFault } from './fault.ts';

export interface Named {
  /** By the identifiers that they were placed under, or would have been. */
  readonly drains: readonly Identifier[];
  readonly patients: readonly Reference[];
}

/** What cannot be read of it names nobody. A patient is only known by the authority that the mapping names. */
export function namedIn(er7: Er7, { drain, patient }: MessageMapping): Named {
  const [segment, field] = drain.field.split('-');
  const within = (name: string | undefined, valueIn: (segment: Segment) => string): string[] =>
    er7.segments
      .filter((each) => each.name === name)
      .flatMap((each) => orFault(() => valueIn(each), []) ?? [])
      .filter((value) => value !== '');
  const drains = within(segment, (each) => nameAt(er7, each, Number(field)));
  const patients =
    patient === undefined ? [] : within('PID', (pid) => patientIn(er7, pid, patient.authority));
  return {
    drains: [...new Set(drains)].map((value) => ({ system: drain.system, value })),
    patients: [...new Set(patients)].map((value) => ({
      identifier: { system: patient?.system ?? '', value },
    })),
  };
}

/** The identifier that an authority gave the patient of a PID; empty where there is none. @throws {Unreadable} */
export function patientIn(er7: Er7, pid: Segment, authority: string): string {
  const place = { segment: 'PID', sequence: pid.sequence, field: 3 };
  const own = repetitions(er7, pid, 3).find(
    (each) => partOf(er7, each, { component: 4 }, place) === authority,
  );
  return own === undefined ? '' : partOf(er7, own, {}, place);
}
