/** What an entry raised, ended or withdrew, in short, for the answer to its post. */
import type { DrainChange } from '../domain/changes.ts';
import type { Episode } from '../domain/episodes.ts';
import { digitsBeside } from '../domain/shown.ts';

type Advisories = Pick<DrainChange, 'advisories'>;

/** Nothing at all where no advisory changed, as with most entries. */
export function advisoryChanges(changes: readonly Advisories[]) {
  const before = byId(changes, 'before');
  const after = byId(changes, 'after');
  const raised = [...after.values()].filter(({ id }) => !before.has(id));
  const ended = [...after.values()].filter(
    ({ id, ended_at }) => ended_at !== null && before.get(id)?.ended_at === null,
  );
  const withdrawn = [...before.values()].filter(({ id }) => !after.has(id));
  if (raised.length + ended.length + withdrawn.length === 0) return {};
  return {
    advisories: {
      raised: raised.map(brief),
      ended: ended.map(brief),
      withdrawn: withdrawn.map((episode) => ({
        ...brief(episode),
        reviewed_by: episode.reviews.map(({ entry }) => entry),
      })),
    },
  };
}

function byId(changes: readonly Advisories[], side: 'before' | 'after'): ReadonlyMap<string, Episode> {
  return new Map(
    changes.flatMap(({ advisories }) => advisories[side]).map((episode) => [episode.id, episode] as const),
  );
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
