/** On which drain a device was when it read something. */

import { type EpochMs, epochMs, MINUTE_MS } from '../numbers/units.ts';
import { type DeviceBook, stayAt } from './device.ts';

/** When something was read, as far as it is known. */
export interface ReadTime {
  readonly charted: EpochMs;
  /** When the first form of its entry was received. */
  readonly receivedMs: EpochMs;
  /** Whose clock the charted time is of. A person who charts it has seen the time, or confirms it. */
  readonly by: 'device' | 'person';
}

/**
 * How far behind a clock may be that nobody has looked at. Clocks of 1,700 devices of hospitals were wrong by 24 min on average
 * (Pennsylvania Patient Safety Advisory 2012;9(4):143-4), and a clock that missed the start of summer time is an hour behind.
 * What comes later than that is taken as having been kept and sent late.
 */
export const MOST_BEHIND_MS = 90 * MINUTE_MS;

/** A move is charted to the minute (common practice, no source), so that a doubt of less is none. */
export const LEAST_DOUBT_MS = MINUTE_MS;

/**
 * The moment that says on which drain something was read. A clock that runs ahead must not carry a reading past a move:
 * nothing was read after it was received.
 */
export const readAt = ({ charted, receivedMs }: ReadTime): EpochMs => epochMs(Math.min(charted, receivedMs));

/** The drain that a device was on when it read something; null where it was on none, or where its clock leaves that open. */
export function drainAt(book: DeviceBook, read: ReadTime): string | null {
  const drain = stayAt(book, readAt(read))?.drain ?? null;
  return drain === null || isClockInQuestion(book, read) ? null : drain;
}

/**
 * Whether a device had left the drain that its clock tells of by the time that what it read was received, so that a clock
 * that is behind would put it on the wrong drain. Nothing in the message shows which it is.
 */
export function isClockInQuestion(book: DeviceBook, read: ReadTime): boolean {
  const at = readAt(read);
  const doubtMs = read.receivedMs - at;
  if (read.by === 'person' || doubtMs <= LEAST_DOUBT_MS || doubtMs > MOST_BEHIND_MS) return false;
  const first = stayAt(book, at);
  if (first === null || first.drain === null || first.clock_checked === true) return false;
  for (let stay = first; stay.toMs <= read.receivedMs; ) {
    const next = stayAt(book, stay.toMs);
    if (next === null || next.drain !== first.drain) return true;
    stay = next;
  }
  return false;
}
