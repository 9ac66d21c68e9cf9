/** Writes what an export asks for into its folder, a little at a time. */
import type Database from 'better-sqlite3';
import { BULK_TYPES } from '../../fhir/bulk.ts';
import { leftOut } from '../../fhir/outcome.ts';
import { drainThatIs } from '../../fhir/reference.ts';
import { isOfPatient, type Json } from '../../fhir/search/extract.ts';
import { type Current, currentResources, type Moments } from './current.ts';
import { createExportFiles } from './files.ts';
import type { Output } from './job.ts';

export interface Wanted extends Moments {
  readonly types: readonly string[];
  /** Only what is about a patient. */
  readonly ofPatients: boolean;
  /** What was asked for and is not given, a sentence each. */
  readonly leftOut: readonly string[];
}

export interface Step {
  /** Part of the work that is done, 0 to 1. */
  readonly part: number;
}

const MOST_LINES = 500_000;

/** Each step is some milliseconds of work. @returns what was written, durable */
export function* writeExport(
  db: Database.Database,
  folder: string,
  wanted: Wanted,
): Generator<Step, readonly Output[]> {
  const files = createExportFiles(folder, MOST_LINES);
  const isWanted = filterOf(wanted);
  try {
    for (const { done, total, resources } of currentResources(db, wanted)) {
      for (const resource of resources)
        if (isWanted(resource)) files.add(resource.type, resource.text, drainThatIs(resource.drain) ?? null);
      yield { part: done / total };
    }
    const outcome = leftOut(wanted.leftOut);
    if (outcome !== null) files.add(outcome.resourceType, JSON.stringify(outcome), null);
    return files.finish();
  } finally {
    files.abandon();
  }
}

function filterOf({ types, ofPatients }: Wanted): (resource: Current) => boolean {
  const wanted = new Map(BULK_TYPES.filter(({ type }) => types.includes(type)).map((row) => [row.type, row]));
  return ({ type, text }) => {
    const row = wanted.get(type);
    return row !== undefined && (!ofPatients || isOfPatient(row, JSON.parse(text) as Json));
  };
}
