/** What a client is confined to, beside what it asks for. */
import type { Criterion } from '../fhir/search/query.ts';
import { readQuery } from '../fhir/search/read-query.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import type { Hit } from './find.ts';
import { among, both, type Fragment, fragment } from './fragments.ts';
import type { Held } from './held.ts';
import type { Plan } from './plan.ts';
import type { Ask, Confines } from './port.ts';
import { rowsNaming } from './words.ts';

/** What is asked, and whose it has to be. */
export function within(
  { zone }: Held,
  type: ResourceType,
  { within, base }: Ask,
  asked: readonly Criterion[],
): readonly Criterion[] {
  if (within === null) return asked;
  const reading = { base, zone, lenient: false, others: [] };
  return [...asked, ...readQuery(type, [within.pair], reading).criteria];
}

/** The plan of what is asked, as far as the client may be told of it. */
export function planWithin(held: Held, type: ResourceType, ask: Ask, asked: readonly Criterion[]): Plan {
  const plan = held.planner.plan({ type, criteria: within(held, type, ask, asked) });
  return ask.within === null ? plan : { ...plan, where: both([plan.where, ...notTaken(held, ask.within)]) };
}

/**
 * A drain that was taken from the patient never was theirs, though what was issued until then names them: nothing of it
 * is told, nor what rests on it.
 */
function notTaken({ ledger }: Held, { patient }: Confines): readonly Fragment[] {
  const taken = ledger.takenFrom(patient);
  if (taken.length === 0) return [];
  const { sql, values } = rowsNaming(taken);
  return [fragment(`v.row NOT IN (${sql})`, ...values)];
}

/** Of what comes along with the matches, that which the client could have asked for. */
export function amongTheirs(held: Held, type: ResourceType, ask: Ask, hits: readonly Hit[]): readonly Hit[] {
  if (ask.within === null || hits.length === 0) return hits;
  const { subjects, where } = planWithin(held, type, ask, []);
  const { sql, values } = both([
    among(
      'v.row',
      hits.map(({ row }) => row),
    ),
    among('v.subject', subjects ?? []),
    where,
  ]);
  const theirs = new Set(
    held.db
      .prepare<unknown[], number>(`SELECT v.row FROM version v WHERE ${sql}`)
      .pluck()
      .all(...values),
  );
  return hits.filter(({ row }) => theirs.has(row));
}
