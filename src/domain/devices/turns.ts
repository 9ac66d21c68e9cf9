/** Which advisories a change raises, ends or withdraws; one that only goes on, with other numbers, turns nothing. */

import type { Episode } from '../advisories/episodes.ts';
import type { DrainChange } from '../book/changes.ts';

export interface Turns {
  readonly raised: readonly Episode[];
  readonly ended: readonly Episode[];
  readonly withdrawn: readonly Episode[];
}

/** Null where no advisory turned, as with most entries. */
export function turnsOf(changes: readonly Pick<DrainChange, 'advisories'>[]): Turns | null {
  const before = byId(changes, 'before');
  const after = byId(changes, 'after');
  const raised = [...after.values()].filter(({ id }) => !before.has(id));
  const ended = [...after.values()].filter(
    ({ id, ended_at }) => ended_at !== null && before.get(id)?.ended_at === null,
  );
  const withdrawn = [...before.values()].filter(({ id }) => !after.has(id));
  return raised.length + ended.length + withdrawn.length === 0 ? null : { raised, ended, withdrawn };
}

function byId(
  changes: readonly Pick<DrainChange, 'advisories'>[],
  side: 'before' | 'after',
): ReadonlyMap<string, Episode> {
  return new Map(
    changes.flatMap(({ advisories }) => advisories[side]).map((episode) => [episode.id, episode] as const),
  );
}
