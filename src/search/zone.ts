import { DateTime } from 'luxon';
import type { MomentOf } from '../fhir/search/date-range.ts';

/** Clock readings of a zone as moments: one that the clock skips is moved past the gap, of two the first is meant. */
export function momentsOf(zone: string): MomentOf {
  if (zone === 'UTC') return (local) => local;
  return (local) => {
    const { year, month, day, hour, minute, second, millisecond } = DateTime.fromMillis(local, {
      zone: 'UTC',
    });
    return DateTime.fromObject({ year, month, day, hour, minute, second, millisecond }, { zone }).toMillis();
  };
}
