/**
 * Whether the swing of the fluid in the water seal with breathing (tidaling) was lost: seen in one reading and absent
 * in a later one. A lung that is up, a blocked tube and suction that damps it all look like this, so it says only what
 * was seen, and with which suction (causes: common practice, no source). A mediastinal tube never swings
 * (common practice, no source), and a clamped one cannot: both are left out.
 */
import { type RowUnderConditions, type SuctionState, suctionStateOf } from '../fold/conditions.ts';
import type { Span } from '../fold/interval.ts';
import type { Row } from '../fold/row.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Site } from '../vocabulary/entry.ts';

/** A reading of an open tube that says whether it swings. */
export interface SwingSeen {
  readonly row: Row;
  readonly tidaling: 'present' | 'absent';
  readonly suction: SuctionState;
}

export interface Patency {
  /** What the newest reading that assessed it shows. */
  readonly swing: 'present' | 'absent' | null;
  /** Null, with a reason, where it cannot be told. */
  readonly swing_lost: boolean | null;
  readonly reason: 'not-assessed' | 'mediastinal-site' | null;
  readonly newest_present: SwingSeen | null;
  /** The newest of all that assessed it, where that one shows no swing. */
  readonly newest_absent: SwingSeen | null;
}

export function patencyOf(rows: readonly RowUnderConditions[], site: Site | null): Patency {
  const seen = swingsIn(rows);
  const newest = seen.at(-1) ?? null;
  const present = seen.findLast(({ tidaling }) => tidaling === 'present') ?? null;
  const absent = newest?.tidaling === 'absent' ? newest : null;
  const reason = site === 'mediastinal' ? 'mediastinal-site' : newest === null ? 'not-assessed' : null;
  return {
    swing: newest?.tidaling ?? null,
    swing_lost: reason === null ? present !== null && absent !== null : null,
    reason,
    newest_present: present,
    newest_absent: absent,
  };
}

/**
 * When the swing was lost, in order. Each span begins at the last reading that showed a swing, as the loss came at
 * some time after it, and ends at the next one that does; the last has no end (Infinity) while it is lost.
 */
export function swingLostSpans(rows: readonly RowUnderConditions[], site: Site | null): readonly Span[] {
  if (site === 'mediastinal') return [];
  const spans: Span[] = [];
  let lastPresent: EpochMs | null = null;
  let lostFrom: EpochMs | null = null;
  for (const { row, tidaling } of swingsIn(rows)) {
    if (tidaling === 'absent') lostFrom ??= lastPresent;
    else {
      lastPresent = row.item.at;
      if (lostFrom !== null) spans.push({ from: lostFrom, to: lastPresent });
      lostFrom = null;
    }
  }
  return lostFrom === null ? spans : [...spans, { from: lostFrom, to: epochMs(Infinity) }];
}

/** In order of time; of several at one moment, whoever saw a swing does not hide that another saw none. */
function swingsIn(rows: readonly RowUnderConditions[]): readonly SwingSeen[] {
  const seen = rows.flatMap(({ row, conditions }): SwingSeen[] => {
    const { content } = row.item;
    if (content.kind !== 'reading' || conditions.clamped) return [];
    const { tidaling } = content;
    if (tidaling === undefined || tidaling === 'not-assessed') return [];
    return [{ row, tidaling, suction: suctionStateOf(conditions) }];
  });
  const isAbsent = ({ tidaling }: SwingSeen) => Number(tidaling === 'absent');
  return seen.sort((a, b) => a.row.item.at - b.row.item.at || isAbsent(a) - isAbsent(b));
}
