/** The observations of an ORU^R01, each with the segments that it stands among (HL7 v2.6, 7.3.1). */
import type { Er7, Segment } from './er7.ts';
import { hl7Fault, Unreadable } from './fault.ts';

export interface Observed {
  readonly obx: Segment;
  readonly obr: Segment;
  readonly orc: Segment | undefined;
  readonly pid: Segment | undefined;
  readonly pv1: Segment | undefined;
  /** Participation of what observed it (v2.7 on). */
  readonly prt: Segment | undefined;
  /** Notes to the order, then to the observation. */
  readonly notes: readonly Segment[];
}

type Draft = { -readonly [K in keyof Observed]: Observed[K] };

/** Segments of other names say nothing that is read here. @throws {Unreadable} for an OBX without OBR */
export function observedIn({ segments }: Er7): readonly Observed[] {
  const all: Draft[] = [];
  let order: Partial<Omit<Draft, 'obx'>> = {};
  let current: Draft | null = null;
  for (const segment of segments) {
    switch (segment.name) {
      case 'PID':
        [order, current] = [{ pid: segment }, null];
        break;
      case 'PV1':
        order = { ...order, pv1: segment };
        break;
      case 'ORC':
        [order, current] = [{ pid: order.pid, pv1: order.pv1, orc: segment }, null];
        break;
      case 'OBR':
        // The ORC of an earlier order is not this one's.
        order = { ...order, orc: order.obr === undefined ? order.orc : undefined, obr: segment, notes: [] };
        current = null;
        break;
      case 'OBX':
        current = draftOf(segment, order);
        all.push(current);
        break;
      case 'PRT':
        if (current !== null) current.prt ??= segment;
        break;
      case 'NTE':
        if (current !== null) current.notes = [...current.notes, segment];
        else if (order.obr !== undefined) order = { ...order, notes: [...(order.notes ?? []), segment] };
        break;
    }
  }
  return all;
}

function draftOf(obx: Segment, { obr, orc, pid, pv1, notes = [] }: Partial<Omit<Draft, 'obx'>>): Draft {
  if (obr === undefined)
    throw new Unreadable(
      hl7Fault(
        { segment: 'OBX', sequence: obx.sequence },
        100,
        undefined,
        'stands under no OBR',
        'send the OBR of its order before it',
      ),
    );
  return { obx, obr, orc, pid, pv1, prt: undefined, notes };
}
