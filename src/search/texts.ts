/** Texts of what was found, as they were issued. */
import { versionOf } from '../fhir/bundle.ts';
import type { Hit } from './find.ts';
import type { LedgerReader } from './ledger.ts';

/** The index points at another text than it was made from: it has to be made anew. */
export class DamagedIndex extends Error {}

/** @throws {DamagedIndex} */
export function textsOf(
  ledger: LedgerReader,
  hits: readonly Pick<Hit, 'id' | 'issue' | 'position'>[],
): readonly string[] {
  return hits.map(({ id, issue, position }) => {
    const text = ledger.textAt(issue, position);
    if (text === undefined || versionOf(text).id !== id)
      throw new DamagedIndex(`nothing of this id in issue ${issue}`);
    return text;
  });
}
