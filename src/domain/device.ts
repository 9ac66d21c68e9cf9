/**
 * Devices, and on which drain each was when: collection units and monitors that chart by themselves.
 *
 * An assignment holds from its start (included) to its end (excluded), so at the instant of a move the device is on the
 * new drain already. A device is on one drain at a time; several devices may be on one drain.
 */
import type { Author, Identifier } from './entry.ts';
import { parseInstant } from './instant.ts';
import { type EpochMs, epochMs } from './units.ts';

export type DeviceType = 'collection-unit' | 'monitor';

/** Makes a device known. */
export interface Registered {
  readonly kind: 'registered';
  readonly device: Identifier;
  readonly type: DeviceType;
}

/** Where a device was, and when; without `to` it still is. */
export interface Placement {
  readonly drain: string;
  readonly from: string;
  readonly to?: string;
}

export interface Assigned extends Placement {
  readonly kind: 'assigned';
  readonly reason: string;
}

/** Ends an assignment that is open. */
export interface Closed {
  readonly kind: 'closed';
  readonly target: Identifier;
  readonly to: string;
  readonly reason: string;
}

/** Puts another drain or time in the place of what an assignment says in its newest form. */
export interface AssignmentCorrected {
  readonly kind: 'corrected';
  readonly target: Identifier;
  readonly reason: string;
  readonly replacement: Placement;
}

/** Says that an assignment never was. Not reversible. */
export interface AssignmentWithdrawn {
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
} & (Registered | Assigned | Closed | AssignmentCorrected | AssignmentWithdrawn);

/** An assignment and all that later entries made of it. */
export interface Assignment extends Placement {
  /** Of its first entry: names it for ever. */
  readonly identifier: Identifier;
  /** The entry that a correction must name. */
  readonly end: Identifier;
  /** Every entry about it. */
  readonly members: readonly Identifier[];
  readonly fromMs: EpochMs;
  /** Infinity while it is open. */
  readonly toMs: EpochMs;
  readonly void: boolean;
}

export interface DeviceBook {
  /** Null while nobody has registered it. */
  readonly registered: (DeviceBody & Registered) | null;
  /** In the order in which they were charted. */
  readonly assignments: readonly Assignment[];
}

export const UNKNOWN_DEVICE: DeviceBook = { registered: null, assignments: [] };

export interface DeviceRefusal {
  readonly refused:
    | 'already-registered'
    | 'unknown-target'
    | 'not-the-chain-end'
    | 'already-void'
    | 'already-closed'
    | 'ends-before-it-starts'
    | 'overlaps';
  readonly pointer: string;
  readonly value: string;
  readonly mend: string;
  /** The drain of the assignment that it tells of; null: it tells of none. */
  readonly of: string | null;
}

/** The device after an entry about it, or why the entry cannot be taken. Only one that is registered is assigned. */
export function deviceAfter(book: DeviceBook, body: DeviceBody): DeviceBook | DeviceRefusal {
  if (body.kind === 'registered') return registeredAfter(book, body);
  const changed = assignmentAfter(book, body);
  if ('refused' in changed) return changed;
  const others = book.assignments.filter(({ identifier }) => !isSame(identifier, changed.identifier));
  const inTheWay = changed.void ? undefined : others.find((other) => overlaps(other, changed));
  if (inTheWay !== undefined) return overlapping(body, changed, inTheWay);
  const isNew = others.length === book.assignments.length;
  const assignments = isNew
    ? [...others, changed]
    : book.assignments.map((each) => (isSame(each.identifier, changed.identifier) ? changed : each));
  return { ...book, assignments };
}

function registeredAfter(book: DeviceBook, body: DeviceBody & Registered): DeviceBook | DeviceRefusal {
  if (book.registered === null) return { ...book, registered: body };
  const first = named(book.registered.identifier);
  return refusal(
    'already-registered',
    '/device',
    named(body.device),
    `it was registered by ${first}: assign it`,
    null,
  );
}

function assignmentAfter(
  { assignments }: DeviceBook,
  body: Exclude<DeviceBody, Registered>,
): Assignment | DeviceRefusal {
  const { identifier } = body;
  if (body.kind === 'assigned') {
    const { drain, from, to } = body;
    const placement = to === undefined ? { drain, from } : { drain, from, to };
    const first = { identifier, end: identifier, members: [identifier], void: false };
    return spanning('', placement, first);
  }
  const before = assignments.find(({ members }) => members.some((each) => isSame(each, body.target)));
  if (before === undefined) {
    const mend = 'name the identifier of an assignment of this device';
    return refusal('unknown-target', '/target', named(body.target), mend, null);
  }
  if (before.void) {
    const mend = 'it was entered in error, which is final: assign the device anew';
    return refusal('already-void', '/target', named(body.target), mend, before.drain);
  }
  const after = { ...before, end: identifier, members: [...before.members, identifier] };
  if (body.kind === 'entered-in-error') return { ...after, void: true };
  if (body.kind === 'closed') {
    const { drain, from } = before;
    if (before.to === undefined) return spanning('', { drain, from, to: body.to }, after);
    const mend = `it ended at ${before.to}: correct its newest form, ${named(before.end)}`;
    return refusal('already-closed', '/target', named(body.target), mend, before.drain);
  }
  if (!isSame(before.end, body.target)) {
    const mend = `correct its newest form, ${named(before.end)}`;
    return refusal('not-the-chain-end', '/target', named(body.target), mend, before.drain);
  }
  const { to: _to, ...undated } = after;
  return spanning('/replacement', body.replacement, undated);
}

/** An assignment over the time that is said. @param within where in the message that stands */
function spanning(
  within: string,
  placement: Placement,
  of: Pick<Assignment, 'identifier' | 'end' | 'members' | 'void'>,
): Assignment | DeviceRefusal {
  const { from, to } = placement;
  const fromMs = msOf(from);
  const toMs = to === undefined ? epochMs(Infinity) : msOf(to);
  if (to !== undefined && toMs <= fromMs) {
    const mend = `send a time after ${from}; one that never was is marked entered-in-error`;
    return refusal('ends-before-it-starts', `${within}/to`, to, mend, placement.drain);
  }
  return { ...of, ...placement, fromMs, toMs };
}

function overlapping(body: DeviceBody, changed: Assignment, other: Assignment): DeviceRefusal {
  const pointer = body.kind === 'corrected' ? '/replacement/from' : '/from';
  const until = other.to === undefined ? 'and is open' : `to ${other.to}`;
  const mend = `${named(other.identifier)} has the device on drain ${other.drain} from ${other.from} ${until}: close or correct that one first, newest form ${named(other.end)}`;
  return refusal('overlaps', pointer, changed.from, mend, other.drain);
}

const overlaps = (a: Assignment, b: Assignment): boolean =>
  !a.void && !b.void && a.fromMs < b.toMs && b.fromMs < a.toMs;

/** The assignment that has the device on a drain at a moment; null while none has. */
export const assignedAt = ({ assignments }: DeviceBook, at: EpochMs): Assignment | null =>
  assignments.find(({ void: isVoid, fromMs, toMs }) => !isVoid && fromMs <= at && at < toMs) ?? null;

/**
 * The moment that says on which drain something was read. A clock that runs ahead must not carry a reading past a move:
 * nothing was read after it was received.
 * @param receivedMs when its first form was received
 */
export const readAt = (charted: EpochMs, receivedMs: EpochMs): EpochMs =>
  epochMs(Math.min(charted, receivedMs));

/** The time over which the device may be on another drain after than before; null where on none. */
export function timeChanged(
  before: DeviceBook,
  after: DeviceBook,
): { readonly from: EpochMs; readonly to: EpochMs } | null {
  const changed = assignmentsChanged(before, after);
  if (changed.length === 0) return null;
  return {
    from: epochMs(Math.min(...changed.map(({ fromMs }) => fromMs))),
    to: epochMs(Math.max(...changed.map(({ toMs }) => toMs))),
  };
}

/** Assignments as they were and as they are, where that is not the same. */
export const assignmentsChanged = (before: DeviceBook, after: DeviceBook): readonly Assignment[] => [
  ...before.assignments.filter((each) => !after.assignments.includes(each)),
  ...after.assignments.filter((each) => !before.assignments.includes(each)),
];

function msOf(text: string): EpochMs {
  const instant = parseInstant(text);
  if (instant === undefined) throw new RangeError(`${text} is no instant: not checked at intake`);
  return instant.ms;
}

const isSame = (a: Identifier, b: Identifier): boolean => a.system === b.system && a.value === b.value;

const named = ({ system, value }: Identifier): string => `${system}|${value}`;

const refusal = (
  refused: DeviceRefusal['refused'],
  pointer: string,
  value: string,
  mend: string,
  of: string | null,
): DeviceRefusal => ({ refused, pointer, value, mend, of });
