/** Advisories that were issued and are no longer given: kept as the record was told of them. */
import type { Observation } from 'fhir/r4.js';
import { compactMoment, type Review } from '../domain/advisories/episodes.ts';
import { reviewsOn } from '../domain/advisories/watch.ts';
import type { Book, Subject } from '../domain/book/book.ts';
import { patientKey } from '../domain/fold/drain.ts';
import { parseInstant } from '../domain/numbers/instant.ts';
import { drainsReferredTo, factId } from '../fhir/reference.ts';
import type { Store } from '../store/port.ts';
import { reviewView } from './advisory-view.ts';

const KEY = 'advisory.';

/**
 * Of a drain and of its patient, in the order in which they were withdrawn.
 * @param isTold whether whoever asks may be told of what rests on these drains
 */
export function withdrawnViewOf(
  book: Book,
  subject: Subject,
  store: Pick<Store, 'versions'>,
  isTold: (drains: readonly string[]) => boolean,
) {
  const reviews = reviewsOn([...subject.values()]);
  return [...subject.values()]
    .filter((other) => isOfSame(book, other))
    .flatMap(({ drain, reissues }) =>
      [...reissues].flatMap(([key, { status }]) =>
        key.startsWith(KEY) && status === 'entered-in-error'
          ? viewOf(drain, key, { reviews, store, isTold })
          : [],
      ),
    )
    .sort((a, b) => (a.withdrawn_at < b.withdrawn_at ? -1 : 1));
}

function isOfSame(book: Book, other: Book): boolean {
  const key = patientKey(book.view.patient);
  return book === other || (key !== null && patientKey(other.view.patient) === key);
}

interface Around {
  readonly reviews: readonly Review[];
  readonly store: Pick<Store, 'versions'>;
  isTold(drains: readonly string[]): boolean;
}

function viewOf(drain: string, key: string, { reviews, store, isTold }: Around) {
  const observation = factId(drain, { name: 'advisory', anchor: key.slice(KEY.length) });
  const versions = store.versions('Observation', drain, key, observation);
  const text = versions.at(-1);
  if (text === undefined) throw new Error(`${observation} was withdrawn and is not in the ledger`);
  if (!isTold([drain, ...versions.flatMap(drainsReferredTo)])) return [];
  const { valueCodeableConcept, effectivePeriod, meta } = JSON.parse(text) as Observation;
  const [coding] = valueCodeableConcept?.coding ?? [];
  const raisedAt = effectivePeriod?.start ?? '';
  const rule = coding?.code ?? '';
  const moment = parseInstant(raisedAt)?.ms;
  const end = moment === undefined ? '' : `.${compactMoment(moment)}`;
  return {
    observation,
    rule,
    title: coding?.display ?? '',
    raised_at: raisedAt,
    withdrawn_at: meta?.lastUpdated ?? '',
    reviews: reviews
      .filter(({ advisory }) => advisory.startsWith(`${rule}.`) && advisory.endsWith(end))
      .map(reviewView),
  };
}
