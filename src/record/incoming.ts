/** What comes in by any door, and why the ledger does not take it. */
import type { Subject } from '../domain/book/book.ts';
import type { DeviceRefusal } from '../domain/devices/device-after.ts';
import type { Refusal } from '../domain/fold/chains.ts';
import { type DrainView, isSamePatient, patientKey } from '../domain/fold/drain.ts';
import { parseInstant } from '../domain/numbers/instant.ts';
import { MINUTE_MS } from '../domain/numbers/units.ts';
import type { EntryBody, Identifier, Kind, Reference, Site } from '../domain/vocabulary/entry.ts';
import { identifierText } from '../domain/vocabulary/identifier-text.ts';
import type { Settings } from '../domain/vocabulary/settings.ts';
import type { DeviceLook } from '../store/device-port.ts';
import type { Place } from '../store/port.ts';
import type { NotRouted } from './routing.ts';

/** An entry as it comes from any door, checked by itself but not yet against the ledger. */
export interface Incoming {
  /** Null: its body names a device, and it goes to the drain that the device was on. */
  readonly drain: string | null;
  readonly body: EntryBody;
  /** Canonical text of what was sent: the same key must always come with the same. */
  readonly request: string;
  /** Whom and what place the sender names beside the drain; they must be the drain's. */
  readonly claims?: { readonly patient: Reference; readonly site: Site | null };
  /** An entry of these kinds that already stands under the identifier will do, whatever it says. */
  readonly unlessKnown?: readonly Kind[];
  /** Whether its sender may reach the drain that it turns out to go to, null where that is none; anybody may unless given. */
  readonly mayReach?: (drain: string | null) => boolean;
  /** Its sender may chart and not read: no refusal quotes to them whose a drain is, or where. */
  readonly quotesNothing?: true;
}

/** Why the ledger does not take an entry. */
export type NotTaken =
  | Refusal
  | NotRouted
  | DeviceRefusal
  | {
      readonly refused:
        | 'no-such-drain'
        | 'erased'
        | 'no-such-device'
        | 'in-the-future'
        | 'patient-unknown'
        | 'site-differs'
        | 'out-of-bounds';
      readonly pointer: string;
      readonly value: string;
      readonly mend: string;
    };

/** Null when nothing that the ledger knows stands in the way. */
export function notTaken(
  subject: Subject,
  place: Place,
  { body, claims, mayReach, quotesNothing }: Incoming,
  devices: DeviceLook,
  settings: Settings,
): NotTaken | null {
  const { drain } = place;
  if (mayReach?.(drain) === false) return outOfBounds(sentDevice(body));
  if (drain !== null && body.kind !== 'placed' && !subject.has(drain))
    return noSuchDrain('/drain', drain, devices);
  const view = drain === null ? undefined : subject.get(drain)?.view;
  return (
    otherPatient(view, body, quotesNothing) ??
    (view === undefined ? null : falseClaim(view, claims, quotesNothing)) ??
    inTheFuture(place, body, settings)
  );
}

/** There is none of that name, or none any more. */
export function noSuchDrain(pointer: string, drain: string, { isErased }: DeviceLook): NotTaken {
  if (isErased(drain)) return erased(pointer, drain, 'the drain');
  return { refused: 'no-such-drain', pointer, value: drain, mend: 'place the drain first: POST /v1/drains' };
}

/** What was lawfully erased is not charted again by whoever sends it once more. @param entryId made of the identifier */
export function erasedBefore(
  entryId: string,
  identifier: Identifier,
  { isErased }: DeviceLook,
  isConfined: boolean,
): NotTaken | null {
  if (!isErased(entryId)) return null;
  // To a client that is confined it is as any identifier that another has used.
  return isConfined ? usedBeyond(identifier) : erased('/identifier', identifierText(identifier), 'the entry');
}

const erased = (pointer: string, value: string, what: string): NotTaken => ({
  refused: 'erased',
  pointer,
  value,
  mend: `${what} was lawfully erased: nothing can be charted under it again`,
});

/** The same whether the device was elsewhere or is none: which there are, and where, is not theirs to know. */
export const NOT_ON_THEIRS =
  'the client is confined to one patient or drain, and the device was not on theirs then, or is not registered';

export const outOfBounds = ({ pointer, value }: Pick<NotTaken, 'pointer' | 'value'>): NotTaken => ({
  refused: 'out-of-bounds',
  pointer,
  value,
  mend: NOT_ON_THEIRS,
});

/** An identifier that somebody beyond the client's bounds has used. */
export const usedBeyond = (identifier: Identifier): NotTaken => ({
  refused: 'out-of-bounds',
  pointer: '/identifier',
  value: identifierText(identifier),
  mend: 'the client is confined to one patient or drain, and it names what is not theirs: send a new identifier',
});

/** What leads to the drain that an entry goes to. */
function sentDevice(body: EntryBody): Pick<NotTaken, 'pointer' | 'value'> {
  if (body.device !== undefined) return { pointer: '/device', value: identifierText(body.device) };
  return 'target' in body
    ? { pointer: '/target', value: identifierText(body.target) }
    : { pointer: '/identifier', value: identifierText(body.identifier) };
}

/** A sender that means another patient or side has the wrong drain: nothing of it may be charted. */
export function falseClaim(
  { patient, site }: Pick<DrainView, 'patient'> & { readonly site: Site | null },
  claims: Incoming['claims'],
  quotesNothing: Incoming['quotesNothing'],
): NotTaken | null {
  if (claims === undefined) return null;
  const value = patientKey(claims.patient) ?? 'nobody';
  if (patient === undefined) {
    const mend = 'link the drain to its patient first: POST a drain-updated entry';
    return { refused: 'patient-unknown', pointer: '/subject', value, mend };
  }
  if (!isSamePatient(patient, claims.patient)) {
    const whose = quotesNothing ? 'another' : patientKey(patient);
    const mend = `the drain is linked to ${whose}: name that patient so, or send another drain`;
    return { refused: 'patient-differs', pointer: '/subject', value, mend };
  }
  if (claims.site === null || claims.site === site) return null;
  const where = quotesNothing ? 'elsewhere' : site;
  const mend = `the drain is placed ${where}: leave the site out, or send another drain`;
  return { refused: 'site-differs', pointer: '/bodySite', value: claims.site, mend };
}

/** A drain stays with its patient: relabelling a history would put one patient's readings into another's record. */
function otherPatient(
  view: DrainView | undefined,
  body: EntryBody,
  quotesNothing: Incoming['quotesNothing'],
): NotTaken | null {
  const linked = patientKey(view?.patient);
  const named = body.kind === 'drain-updated' ? patientKey(body.patient) : null;
  if (linked === null || named === null || named === linked) return null;
  const whose = quotesNothing ? 'another' : linked;
  const mend = `the drain is linked to ${whose}: mark that link entered-in-error first, or place the drain anew`;
  return { refused: 'patient-differs', pointer: '/patient', value: named, mend };
}

/** A person's clock can be looked at and mended; a device's is marked instead (domain/fold/step.ts). */
function inTheFuture(place: Place, body: EntryBody, settings: Settings): NotTaken | null {
  if (body.author.type === 'device') return null;
  return laterThanNow(
    place,
    body.kind === 'corrected'
      ? [
          ['/effective_at', body.effective_at],
          ['/replacement/effective_at', body.replacement.effective_at],
        ]
      : [['/effective_at', body.effective_at]],
    settings,
  );
}

/** @param charted times, each with where it stands in the message */
export function laterThanNow(
  place: Place,
  charted: readonly (readonly [pointer: string, text: string])[],
  settings: Settings,
): NotTaken | null {
  for (const [pointer, text] of charted) {
    if ((parseInstant(text)?.ms ?? 0) - place.recordedMs <= settings.max_future_ms) continue;
    const minutes = settings.max_future_ms / MINUTE_MS;
    const mend = `send a time no later than ${minutes} minutes after now, ${place.recordedAt}`;
    return { refused: 'in-the-future', pointer, value: text, mend };
  }
  return null;
}
