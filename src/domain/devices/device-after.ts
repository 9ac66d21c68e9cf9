/** What an entry makes of a device, or why it cannot be taken. Only a device that is registered is put anywhere. */

import { epochMs } from '../numbers/units.ts';
import type { Identifier } from '../vocabulary/entry.ts';
import { identifierText } from '../vocabulary/identifier-text.ts';
import {
  type Charted,
  type DeviceBody,
  type DeviceBook,
  isAssignment,
  isRegistered,
  msOf,
  type Period,
  type Registered,
  type Registration,
  type Stay,
} from './device.ts';

export interface DeviceRefusal {
  readonly refused:
    | 'already-registered'
    | 'unknown-target'
    | 'not-the-chain-end'
    | 'already-void'
    | 'already-closed'
    | 'replacement-differs'
    | 'still-in-use'
    | 'ends-before-it-starts'
    | 'overlaps';
  readonly pointer: string;
  readonly value: string;
  readonly mend: string;
  /** The drain of the assignment that it tells of; null: it tells of none. */
  readonly of: string | null;
}

type Change = Extract<DeviceBody, { readonly target: Identifier }>;

export function deviceAfter(book: DeviceBook, body: DeviceBody): DeviceBook | DeviceRefusal {
  if (body.kind === 'registered') return registeredAfter(book, body);
  if (body.kind === 'assigned' || body.kind === 'retired') {
    const { identifier } = body;
    const first = { identifier, end: identifier, members: [identifier], void: false };
    return withStay(book, body, spanning('', { drain: null, ...body }, first));
  }
  const isOf = ({ members }: Charted): boolean => members.some((each) => isSame(each, body.target));
  const { registration, stays } = book;
  if (registration !== null && isOf(registration)) return registrationAfter(book, registration, body);
  const before = stays.find(isOf);
  if (before !== undefined) return withStay(book, body, stayAfter(before, body));
  const mend = 'name the identifier of an assignment or retirement of this device, or of its registration';
  return refusal('unknown-target', '/target', identifierText(body.target), mend, null);
}

function registeredAfter(book: DeviceBook, body: DeviceBody & Registered): DeviceBook | DeviceRefusal {
  const { registration } = book;
  if (registration !== null && isRegistered(book)) {
    const mend = `it was registered by ${identifierText(registration.identifier)}: assign it, or correct ${identifierText(registration.end)}`;
    return refusal('already-registered', '/device', identifierText(body.device), mend, null);
  }
  const { identifier, device, type, effective_at } = body;
  const first = { identifier, end: identifier, members: [identifier], void: false };
  return { ...book, registration: { ...first, device, type, effective_at } };
}

function registrationAfter(book: DeviceBook, before: Registration, body: Change): DeviceBook | DeviceRefusal {
  const refused = notChangeable(before, body, null, 'register the device anew');
  if (refused !== null) return refused;
  const after = { ...before, ...changedBy(before, body) };
  if (body.kind === 'entered-in-error') {
    const stay = book.stays.find((each) => !each.void && isAssignment(each));
    if (stay === undefined) return { ...book, registration: { ...after, void: true } };
    const mend = `${placeOf(stay)}: mark ${identifierText(stay.identifier)} entered-in-error first, or retire the device`;
    return refusal('still-in-use', '/target', identifierText(body.target), mend, stay.drain);
  }
  if (body.kind === 'corrected' && 'type' in body.replacement)
    return { ...book, registration: { ...after, type: body.replacement.type } };
  return differs(body, null, 'a registration: correct it by a type alone, or retire the device');
}

function stayAfter(before: Stay, body: Change): Stay | DeviceRefusal {
  const refused = notChangeable(before, body, before.drain, 'chart it anew');
  if (refused !== null) return refused;
  const after = { ...before, ...changedBy(before, body) };
  if (body.kind === 'entered-in-error') return { ...after, void: true };
  const { drain } = before;
  if (body.kind === 'closed') return spanning('', { ...before, to: body.to }, after);
  const { replacement } = body;
  const fits = 'from' in replacement && 'drain' in replacement === (drain !== null);
  if (!fits) {
    const wanted =
      drain === null ? 'a retirement: send from and to' : 'an assignment: send drain, from and to';
    return differs(body, drain, wanted);
  }
  return spanning('/replacement', { drain: null, ...replacement }, after);
}

function notChangeable(
  before: Charted & Partial<Period>,
  body: Change,
  of: string | null,
  instead: string,
): DeviceRefusal | null {
  const target = identifierText(body.target);
  if (before.void) {
    const mend = `it was entered in error, which is final: ${instead}`;
    return refusal('already-void', '/target', target, mend, of);
  }
  const newest = `correct its newest form, ${identifierText(before.end)}`;
  if (body.kind === 'closed' && before.to !== undefined)
    return refusal('already-closed', '/target', target, `it ended at ${before.to}: ${newest}`, of);
  if (body.kind === 'corrected' && !isSame(before.end, body.target))
    return refusal('not-the-chain-end', '/target', target, newest, of);
  return null;
}

const changedBy = ({ members }: Charted, { identifier }: DeviceBody) => ({
  end: identifier,
  members: [...members, identifier],
});

const differs = (body: Change, of: string | null, wanted: string): DeviceRefusal =>
  body.kind === 'corrected'
    ? refusal(
        'replacement-differs',
        '/replacement',
        Object.keys(body.replacement).join(', '),
        `the target is ${wanted}`,
        of,
      )
    : refusal('replacement-differs', '/target', identifierText(body.target), `the target is ${wanted}`, of);

/** A stay over the time that is said. @param within where in the message that stands */
function spanning(
  within: string,
  { drain, from, to, clock_checked }: Pick<Stay, 'drain' | 'from' | 'to' | 'clock_checked'>,
  { identifier, end, members, void: isVoid }: Charted,
): Stay | DeviceRefusal {
  const fromMs = msOf(from);
  const toMs = to === undefined ? epochMs(Infinity) : msOf(to);
  if (to !== undefined && toMs <= fromMs) {
    const mend = `send a time after ${from}; one that never was is marked entered-in-error`;
    return refusal('ends-before-it-starts', `${within}/to`, to, mend, drain);
  }
  return {
    identifier,
    end,
    members,
    void: isVoid,
    drain,
    from,
    fromMs,
    toMs,
    ...(to === undefined ? {} : { to }),
    ...(clock_checked === undefined ? {} : { clock_checked }),
  };
}

function withStay(
  book: DeviceBook,
  body: DeviceBody,
  changed: Stay | DeviceRefusal,
): DeviceBook | DeviceRefusal {
  if ('refused' in changed) return changed;
  const others = book.stays.filter(({ identifier }) => !isSame(identifier, changed.identifier));
  const inTheWay = others.find((other) => overlaps(other, changed));
  if (inTheWay !== undefined) {
    const pointer = body.kind === 'corrected' ? '/replacement/from' : '/from';
    const mend = `${placeOf(inTheWay)}: close or correct that one first, newest form ${identifierText(inTheWay.end)}`;
    return refusal('overlaps', pointer, changed.from, mend, inTheWay.drain);
  }
  const isNew = others.length === book.stays.length;
  const stays = isNew
    ? [...others, changed]
    : book.stays.map((each) => (isSame(each.identifier, changed.identifier) ? changed : each));
  return { ...book, stays };
}

function placeOf({ identifier, drain, from, to }: Stay): string {
  const where = drain === null ? 'out of use' : `on drain ${drain}`;
  return `${identifierText(identifier)} has the device ${where} from ${from} ${to === undefined ? 'and is open' : `to ${to}`}`;
}

const overlaps = (a: Stay, b: Stay): boolean => !a.void && !b.void && a.fromMs < b.toMs && b.fromMs < a.toMs;

const isSame = (a: Identifier, b: Identifier): boolean => a.system === b.system && a.value === b.value;

const refusal = (
  refused: DeviceRefusal['refused'],
  pointer: string,
  value: string,
  mend: string,
  of: string | null,
): DeviceRefusal => ({ refused, pointer, value, mend, of });
