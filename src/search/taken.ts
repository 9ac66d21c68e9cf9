import type Database from 'better-sqlite3';
import { isSamePatient } from '../domain/fold/drain.ts';
import type { Reference } from '../domain/vocabulary/entry.ts';

interface Link {
  readonly drain: string;
  /** JSON of a reference. */
  readonly patient: string | null;
  /** Of the newest link of the drain. */
  readonly now: string | null;
}

/** Reads which drains were linked to a patient once, and are not now. */
export function createTakenReader(db: Database.Database): (patient: Reference) => readonly string[] {
  // Few links hold a name of the patient; whether it is the patient's own is looked at with care.
  const naming = db.prepare<[string], Link>(
    `SELECT drain, patient, (SELECT patient FROM drain_patient n WHERE n.drain = d.drain
       ORDER BY log_index DESC LIMIT 1) AS now
     FROM drain_patient d WHERE instr(patient, ?)`,
  );
  return (patient) => {
    const isTheirs = (link: string | null): boolean =>
      isSamePatient(patient, (JSON.parse(link ?? 'null') as Reference | null) ?? undefined);
    const found = naming.all(JSON.stringify(patient.reference ?? patient.identifier?.value));
    return [
      ...new Set(
        found.filter((link) => isTheirs(link.patient) && !isTheirs(link.now)).map(({ drain }) => drain),
      ),
    ];
  };
}
