/**
 * Advisories of a patient's drains, as of all that is charted: a pure function of the books and the rule table.
 * They are a list for people to review. Nothing here is an alarm, and no reading is not 0 mL.
 */
import type { Book } from './book.ts';
import { patientKey } from './drain.ts';
import {
  type Episode,
  episodesOf,
  type NotAssessable,
  notAssessableOf,
  type Review,
  type Subject,
  singleEpisodes,
} from './episodes.ts';
import { type Finding, NOT_OF_VOLUME, type Outcome } from './finding.ts';
import { gate } from './gate.ts';
import { readingOutcomes } from './reading-rules.ts';
import type { Rule, RuleTable } from './rule.ts';
import { staysOf, type Tube, tubeOf } from './tubes.ts';
import { volumeOutcomes } from './volume-rules.ts';

export interface Advised {
  /** In the order of the table, then of time. */
  readonly episodes: readonly Episode[];
  readonly not_assessable: readonly NotAssessable[];
  /** Reviews of advisories that the entries and rules no longer give, or never gave. */
  readonly reviews_of_none: readonly Review[];
}

interface Run {
  readonly subject: Subject;
  readonly tubes: readonly Tube[];
  /** Why the tubes at hand may not be all of the patient's; null where they are. */
  readonly mayLack: string | null;
}

/**
 * @param books of all drains that share a patient
 * @param nameOfPatient a short stable name for a patient key, fit for an id
 */
export function advise(
  books: readonly Book[],
  { rules }: RuleTable,
  nameOfPatient: (key: string) => string,
): Advised {
  const tubes = books.flatMap((book) => tubeOf(book) ?? []);
  const reviews = tubes.flatMap(reviewsIn);
  const single = tubes.map(singleRun);
  const stays = staysOf(tubes).map((stay) => stayRun(stay, nameOfPatient));
  const episodes: Episode[] = [];
  const notAssessable: NotAssessable[] = [];
  for (const rule of rules.filter(({ on }) => on)) {
    for (const run of rule.basis === 'one-tube' ? single : stays) {
      const found = runRule(rule, run, reviews);
      episodes.push(...found.episodes);
      notAssessable.push(...found.not_assessable);
    }
  }
  const ids = new Set(episodes.map(({ id }) => id));
  return {
    episodes,
    not_assessable: notAssessable,
    reviews_of_none: reviews.filter(({ advisory }) => !ids.has(advisory)),
  };
}

function reviewsIn({ drain, rows }: Tube): Review[] {
  return rows.flatMap(({ row: { item } }) => {
    const { content, id, author } = item;
    if (content.kind !== 'reviewed') return [];
    const { advisory, words, effective_at } = content;
    return [{ advisory, drain, entry: id, words, author, at_text: effective_at }];
  });
}

function singleRun(tube: Tube): Run {
  const subject = { name: tube.drain, drains: [tube.drain], removed_at: tube.view.removed_at };
  return { subject, tubes: [tube], mayLack: null };
}

/** A drain that no patient is linked to may be one of several: its sum is a lower bound. */
function stayRun(tubes: readonly Tube[], nameOfPatient: (key: string) => string): Run {
  const [first] = tubes;
  const key = patientKey(first?.view.patient);
  const lastOut = tubes.reduce<Tube | undefined>(
    (a, b) => (a === undefined || b.removed > a.removed ? b : a),
    undefined,
  );
  const subject = {
    name: key === null ? (first?.drain ?? '') : nameOfPatient(key),
    drains: tubes.map(({ drain }) => drain),
    removed_at: lastOut?.view.removed_at ?? null,
  };
  return { subject, tubes, mayLack: key === null ? 'patient-not-linked' : null };
}

type Found = Pick<Advised, 'episodes' | 'not_assessable'>;

function runRule(rule: Rule, { subject, tubes, mayLack }: Run, reviews: readonly Review[]): Found {
  const gated = gate(rule, tubes);
  if (!gated.applies) {
    const { reason } = gated;
    const { drains } = subject;
    const missing = reason === null ? [] : [{ rule, drains, reason, seen: null, now: true }];
    return { episodes: [], not_assessable: missing };
  }
  if (rule.quantity === 'unexplained-fall') {
    const falls = gated.tubes.flatMap(fallsIn);
    return { episodes: singleEpisodes(rule, subject, falls, reviews), not_assessable: [] };
  }
  const outcomes: readonly Outcome[] =
    rule.quantity === 'volume' || rule.quantity === 'rate'
      ? volumeOutcomes(rule, { tubes: gated.tubes, mayLack })
      : gated.tubes.flatMap((tube) => readingOutcomes(rule, tube));
  return {
    episodes: episodesOf(rule, subject, outcomes, reviews),
    not_assessable: notAssessableOf(rule, subject, outcomes),
  };
}

/** Levels that fell by more than one graduation with no entry to explain it; the levels are in the entries named. */
function fallsIn({ state }: Tube): readonly Finding[] {
  const falls: Finding[] = [];
  for (let node = state.intervals; node !== null; node = node.before) {
    const { from, to, reason } = node.item.interval;
    if (reason !== 'unexplained-fall') continue;
    const { at, at_text } = to;
    const standing = { crossed: true, within_uncertainty: false, value: null, uncertainty: null };
    falls.push({ at, at_text, ...NOT_OF_VOLUME, ...standing, entries: [from.id, to.id] });
  }
  return falls.reverse();
}
