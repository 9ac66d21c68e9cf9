/**
 * Devices, and where each was when: collection units and monitors that chart by themselves.
 *
 * A device stays on a drain, or out of use, from a start (included) to an end (excluded), so at the instant of a move it
 * is on the new drain already. It is in one place at a time; several devices may be on one drain.
 */

import { parseInstant } from '../numbers/instant.ts';
import { type EpochMs, epochMs } from '../numbers/units.ts';
import type { Author, Identifier } from '../vocabulary/entry.ts';

export type DeviceType = 'collection-unit' | 'monitor';

/** Makes a device known. */
export interface Registered {
  readonly kind: 'registered';
  readonly device: Identifier;
  readonly type: DeviceType;
}

/** Without `to` it goes on. */
export interface Period {
  readonly from: string;
  readonly to?: string;
}

/** Where a device was, and when. */
export interface Placement extends Period {
  readonly drain: string;
  /** Somebody looked at the clock of the device while it was there, and it was right. */
  readonly clock_checked?: true;
}

export interface Assigned extends Placement {
  readonly kind: 'assigned';
  readonly reason: string;
}

/** Out of use: on no drain, and not to be put on one. */
export interface Retired extends Period {
  readonly kind: 'retired';
  readonly reason: string;
}

/** Ends an assignment or a retirement that is open. */
export interface Closed {
  readonly kind: 'closed';
  readonly target: Identifier;
  readonly to: string;
  readonly reason: string;
}

/** Puts something else in the place of what an assignment, a retirement or the registration says in its newest form. */
export interface Corrected {
  readonly kind: 'corrected';
  readonly target: Identifier;
  readonly reason: string;
  readonly replacement: Placement | Period | { readonly type: DeviceType };
}

/** Says that an assignment, a retirement or the registration never was. Not reversible. */
export interface Withdrawn {
  readonly kind: 'entered-in-error';
  readonly target: Identifier;
  readonly reason: string;
}

/** What one entry of a device's own stream holds. */
export type DeviceBody = {
  readonly identifier: Identifier;
  readonly author: Author;
  readonly effective_at: string;
  readonly note?: string;
  /** The resource that it came as, as it was sent. */
  readonly received?: { readonly resource: string };
} & (Registered | Assigned | Retired | Closed | Corrected | Withdrawn);

/** An entry, and all that later ones made of it. */
export interface Charted {
  /** Of its first entry: names it for ever. */
  readonly identifier: Identifier;
  /** The entry that a correction must name. */
  readonly end: Identifier;
  /** Every entry about it. */
  readonly members: readonly Identifier[];
  readonly void: boolean;
}

export interface Registration extends Charted {
  readonly device: Identifier;
  readonly type: DeviceType;
  readonly effective_at: string;
}

/** On a drain, or out of use. */
export interface Stay extends Charted, Period {
  /** Null: out of use. */
  readonly drain: string | null;
  readonly clock_checked?: true;
  readonly fromMs: EpochMs;
  /** Infinity while it is open. */
  readonly toMs: EpochMs;
}

export interface Assignment extends Stay {
  readonly drain: string;
}

export interface DeviceBook {
  /** Null while nobody has registered it; void where that was in error. */
  readonly registration: Registration | null;
  /** In the order in which they were charted. */
  readonly stays: readonly Stay[];
}

export const UNKNOWN_DEVICE: DeviceBook = { registration: null, stays: [] };

export const isRegistered = ({ registration }: DeviceBook): boolean =>
  registration !== null && !registration.void;

export const isAssignment = (stay: Stay): stay is Assignment => stay.drain !== null;

export const assignmentsOf = ({ stays }: Pick<DeviceBook, 'stays'>): readonly Assignment[] =>
  stays.filter(isAssignment);

/** Where the device was said to be at a moment; null where nothing says. */
export const stayAt = ({ stays }: Pick<DeviceBook, 'stays'>, at: EpochMs): Stay | null =>
  stays.find(({ void: isVoid, fromMs, toMs }) => !isVoid && fromMs <= at && at < toMs) ?? null;

/** The assignment that has the device on a drain at a moment; null while none has. */
export function assignedAt(book: Pick<DeviceBook, 'stays'>, at: EpochMs): Assignment | null {
  const stay = stayAt(book, at);
  return stay !== null && isAssignment(stay) ? stay : null;
}

/** The time over which the device may be somewhere else after than before; null where nowhere. */
export function timeChanged(
  before: DeviceBook,
  after: DeviceBook,
): { readonly from: EpochMs; readonly to: EpochMs } | null {
  const changed = staysChanged(before, after);
  if (changed.length === 0) return null;
  return {
    from: epochMs(Math.min(...changed.map(({ fromMs }) => fromMs))),
    to: epochMs(Math.max(...changed.map(({ toMs }) => toMs))),
  };
}

/** Stays as they were and as they are, where that is not the same. */
export const staysChanged = (before: DeviceBook, after: DeviceBook): readonly Stay[] => [
  ...before.stays.filter((each) => !after.stays.includes(each)),
  ...after.stays.filter((each) => !before.stays.includes(each)),
];

/** @throws {RangeError} for what is no instant, which intake refuses */
export function msOf(text: string): EpochMs {
  const instant = parseInstant(text);
  if (instant === undefined) throw new RangeError(`${text} is no instant: not checked at intake`);
  return instant.ms;
}
