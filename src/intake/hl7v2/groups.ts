/** What a message charts, put together: one group for each order, drain, kind of entry and time. */

import { parseInstant } from '../../domain/numbers/instant.ts';
import type { Author, Identifier } from '../../domain/vocabulary/entry.ts';
import type { MessageMapping } from '../../domain/vocabulary/message-mapping.ts';
import { type Observed, observedIn } from './contexts.ts';
import { at, type Er7, nameAt, type Segment, textAt } from './er7.ts';
import { type Hl7Fault, hl7Fault, orFault, type Place, Unreadable } from './fault.ts';
import { type Clock, momentOf, offsetIn } from './moment.ts';
import { type Charted, chartedIn } from './read-value.ts';
import { equipmentOf, whoObserved } from './who.ts';

export interface Group {
  readonly kind: string;
  readonly of: Whose;
  /** Where the drain is named, or would be. */
  readonly drainPlace: Place;
  readonly order: Segment;
  /** The filler order number, with its namespace. */
  readonly orderNumber: string;
  /** RFC 3339. */
  readonly when: string;
  readonly whenPlace: Place;
  readonly members: readonly Member[];
}

/** What it counts for: a drain that is named, or the one that the device was on. */
export type Whose = { readonly drain: Identifier } | { readonly device: Identifier };

export interface Member extends Charted {
  readonly observed: Observed;
  readonly author: Author;
}

/** Faults of one OBX leave the others to be judged too. @throws {Unreadable} for a header that cannot be read */
export function groupsIn(er7: Er7, mapping: MessageMapping, faults: Hl7Fault[]): readonly Group[] {
  const [msh] = er7.segments;
  const clock = {
    offset: msh === undefined ? '' : offsetIn(textAt(er7, msh, 7)),
    zone: mapping.zone,
  };
  const groups = new Map<string, Group & { readonly members: Member[] }>();
  for (const observed of orFault(() => observedIn(er7), faults) ?? []) {
    orFault(() => {
      const charted = chartedIn(er7, observed.obx, mapping);
      if (charted === null) return;
      const group = { ...groupOf(er7, observed, charted.row.entry, { mapping, clock }), members: [] };
      const key = keyOf(group);
      if (!groups.has(key)) groups.set(key, group);
      groups.get(key)?.members.push({ ...charted, observed, author: whoObserved(er7, observed, mapping) });
    }, faults);
  }
  return [...groups.values()];
}

/** The same moment in another offset is the same. */
export const utcOf = (text: string): string => {
  const moment = parseInstant(text);
  return moment === undefined ? text : new Date(moment.ms).toISOString();
};

const keyOf = ({ orderNumber, of, kind, when }: Omit<Group, 'members'>): string =>
  JSON.stringify([orderNumber, of, kind, utcOf(when)]);

function groupOf(
  er7: Er7,
  observed: Observed,
  kind: string,
  { mapping, clock }: { readonly mapping: MessageMapping; readonly clock: Clock },
): Omit<Group, 'members'> {
  const { obx, obr } = observed;
  const orderNumber = [1, 2, 3, 4].map((component) => textAt(er7, obr, 3, { component })).join('^');
  if (orderNumber.startsWith('^')) throw missing(at(obr, 3), 'is missing', 'send the filler order number');
  const ofResult = textAt(er7, obx, 14);
  const ofOrder = textAt(er7, obr, 7);
  const whenPlace = ofResult === '' && ofOrder !== '' ? at(obr, 7) : at(obx, 14);
  if (ofResult === '' && ofOrder === '')
    throw missing(whenPlace, 'is missing', 'send when it was observed, here or in OBR-7');
  const when = momentOf(ofResult || ofOrder, clock, whenPlace);
  return {
    kind,
    order: obr,
    orderNumber: orderNumber.replace(/\^+$/, ''),
    when,
    whenPlace,
    ...whoseIs(er7, observed, kind, mapping),
  };
}

function whoseIs(
  er7: Er7,
  observed: Observed,
  kind: string,
  mapping: MessageMapping,
): Pick<Group, 'of' | 'drainPlace'> {
  const { obx, obr, orc, pv1, prt } = observed;
  const { field, system } = mapping.drain;
  const [name = '', number = ''] = field.split('-');
  const segment = { PV1: pv1, ORC: orc, OBR: obr, OBX: obx, PRT: prt }[name];
  const value = segment === undefined ? '' : nameAt(er7, segment, Number(number));
  const drainPlace = { segment: name, sequence: segment?.sequence ?? 1, field: Number(number) };
  if (value !== '') return { of: { drain: { system, value } }, drainPlace };
  const device = equipmentOf(er7, observed, mapping);
  // A weight is the patient's, wherever a device is.
  if (device !== null && kind !== 'weighed') return { of: { device }, drainPlace };
  throw missing(drainPlace, 'names no drain', 'send the identifier that the drain was placed under');
}

const missing = (place: Place, detail: string, mend: string): Unreadable =>
  new Unreadable(hl7Fault(place, 101, undefined, detail, mend));
