/** Short hand for asking in tests what a removal policy is held against. */
import { type Criterion, removalEvidence } from '../../src/domain/removal/removal.ts';
import { REMOVAL_POLICIES, type RemovalPolicy } from '../../src/domain/removal/removal-policies.ts';
import { bookOf, dec, level, placed, reading, setUp, type Told } from './drain-script.ts';

export const policy = (id: string): RemovalPolicy => {
  const found = REMOVAL_POLICIES.find((each) => each.id === id);
  if (found === undefined) throw new Error(`no policy ${id}`);
  return found;
};
export const UP_TO_450 = policy('lobectomy-450-ml-2017');
export const BY_WEIGHT = policy('lung-resection-7-ml-kg-2015');

export const evidenceOf = (story: readonly Told[], of = UP_TO_450) => {
  const { chart, view, circumstances } = bookOf(story);
  return removalEvidence(of, chart, view, circumstances);
};

/** One criterion, as [status, reason]. */
export function standing(story: readonly Told[], name: Criterion['criterion'], of = UP_TO_450) {
  const found = evidenceOf(story, of).criteria.find(({ criterion }) => criterion === name);
  return found === undefined ? null : [found.status, found.reason];
}

export const START = placed('00:00', { indication: 'thoracic-surgery' });
export const time = (hour: number) => `+${Math.floor(hour / 24)} ${String(hour % 24).padStart(2, '0')}:00`;

/** A whole day of hourly levels that rise evenly to a total. */
export const day = (total: number, more: readonly Told[] = []): readonly Told[] => [
  ...[START, setUp('00:00', 0), ...more],
  ...Array.from({ length: 24 }, (_, i) => level(`l${i + 1}`, time(i + 1), ((i + 1) * total) / 24)),
];
export const grade = (key: string, when: string, value: number) =>
  reading(key, when, { air_leak: { grade: dec(value) } });
