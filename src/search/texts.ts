/** Texts of what was found, as they were issued. */
import { versionOf } from '../fhir/bundle.ts';
import { drainOfId } from '../fhir/reference.ts';
import { Refused } from '../fhir/search/refused.ts';
import type { Hit } from './find.ts';
import type { LedgerReader } from './ledger.ts';
import type { Told } from './port.ts';

/** An answer, and the drains of the resources that it tells of; their ids are name.drain.entry (fhir/reference.ts). */
export const told = (text: string, found: readonly Pick<Hit, 'id'>[]): Told => ({
  text,
  drains: [...new Set(found.flatMap(({ id }) => drainOfId(id) ?? []))],
});

/** What comes in no pages is held whole, here and where it is sent from. */
export const MOST_SHOWN = 10_000;

export const tooMany = (mend: string): Refused =>
  new Refused(400, 'too-costly', `over ${MOST_SHOWN} observations, which come in no pages: send ${mend}`);

/** The index points at another text than it was made from: it has to be made anew. */
export class DamagedIndex extends Error {}

/** @throws {DamagedIndex} */
export function textsOf(
  ledger: LedgerReader,
  hits: readonly Pick<Hit, 'id' | 'issue' | 'position'>[],
): readonly string[] {
  // A page holds several of one issue: it is read once.
  const opened = new Map<number, ReturnType<LedgerReader['textsAt']>>();
  return hits.map(({ id, issue, position }) => {
    const textAt = opened.get(issue) ?? ledger.textsAt(issue);
    opened.set(issue, textAt);
    const text = textAt(position);
    if (text === undefined || versionOf(text).id !== id)
      throw new DamagedIndex(`nothing of this id in issue ${issue}`);
    return text;
  });
}
