/** What a target calls patients and encounters that are charted by identifier: looked up, and remembered for a while. */
import type { Identifier } from '../domain/vocabulary/entry.ts';
import type { Verdict } from './classify.ts';
import type { Clock } from './clock.ts';
import { type Connection, outcomeIn } from './connection.ts';
import type { Stopped } from './end.ts';
import { findTheirs } from './look-up.ts';
import { subjectsIn } from './prepare.ts';
import type { Target } from './target.ts';

export interface Directory {
  /** @returns their names, null where none is to be looked up; or why the text cannot be sent now */
  find(text: string, target: Target): Promise<SubjectsFound | Stopped>;
  /** Looks everybody up anew. */
  forget(): void;
}

export interface SubjectsFound {
  readonly patient: string | null;
  readonly encounter: string | null;
}

/** Patients are merged and moved: what was found is asked again after an hour. */
const KEPT_MS = 3_600_000;
const MOST_KEPT = 10_000;

type Name = { readonly name: string | null } | { readonly end: Stopped };

export function createDirectory(connection: Connection, clock: Clock): Directory {
  const kept = new Map<string, { readonly name: string; readonly untilMs: number }>();

  async function nameOf(type: 'Patient' | 'Encounter', identifier: Identifier | null): Promise<Name> {
    if (identifier === null) return { name: null };
    const key = JSON.stringify([type, identifier.system, identifier.value]);
    const known = kept.get(key);
    if (known !== undefined && clock.now() < known.untilMs) return { name: known.name };
    const search = await findTheirs(connection, type, identifier);
    if ('verdict' in search) return { end: endOf(search.verdict) };
    const [name, ...others] = search.found;
    if (name === undefined) {
      const more = type === 'Patient' ? ' who was not replaced there by another' : '';
      const why = `the target knows no ${type} with the identifier that was charted${more}`;
      return { end: { kind: 'held', outcome: { why } } };
    }
    if (others.length > 0) {
      const why = `the target has ${search.found.length} ${type}s with the identifier that was charted`;
      return { end: { kind: 'refused', outcome: { why } } };
    }
    if (kept.size >= MOST_KEPT) kept.clear();
    kept.set(key, { name, untilMs: clock.now() + KEPT_MS });
    return { name };
  }

  return {
    async find(text, target) {
      const asked = subjectsIn(text, target);
      const patient = await nameOf('Patient', asked.patient);
      if ('end' in patient) return patient.end;
      const encounter = await nameOf('Encounter', asked.encounter);
      if ('end' in encounter) return encounter.end;
      return { patient: patient.name, encounter: encounter.name };
    },
    forget: () => kept.clear(),
  };
}

/** A search that is refused will be refused again. */
function endOf(verdict: Verdict): Stopped {
  switch (verdict.kind) {
    case 'later':
      return verdict;
    case 'unknown':
      // Nothing was written by a search.
      return { kind: 'later', outcome: verdict.outcome, afterMs: undefined };
    case 'unauthorized':
    case 'forbidden':
      return { kind: verdict.kind, outcome: verdict.outcome };
    default: {
      const { why } = outcomeIn(verdict);
      return { kind: 'refused', outcome: { why: `patients cannot be looked up: ${why}` } };
    }
  }
}
