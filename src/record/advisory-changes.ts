/** What an entry raised, ended or withdrew, in short, for the answer to its post. */

import type { Episode } from '../domain/advisories/episodes.ts';
import type { DrainChange } from '../domain/book/changes.ts';
import { turnsOf } from '../domain/devices/turns.ts';
import { digitsBeside } from '../domain/fold/shown.ts';

/** Nothing at all where no advisory changed, as with most entries. */
export function advisoryChanges(changes: readonly Pick<DrainChange, 'advisories'>[]) {
  const turns = turnsOf(changes);
  if (turns === null) return {};
  return {
    advisories: {
      raised: turns.raised.map(brief),
      ended: turns.ended.map(brief),
      withdrawn: turns.withdrawn.map((episode) => ({
        ...brief(episode),
        reviewed_by: episode.reviews.map(({ entry }) => entry),
      })),
    },
  };
}

function brief({ id, rule, drains, raised, ended_at }: Episode) {
  return {
    id,
    rule: rule.id,
    title: rule.title,
    drains,
    raised_at: raised.at_text,
    ended_at,
    value: raised.value === null ? null : Number(digitsBeside(raised.value, rule)),
    unit: rule.unit,
    within_uncertainty: raised.within_uncertainty,
  };
}
