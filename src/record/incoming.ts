/** What comes in by any door, and why the ledger does not take it. */
import type { Subject } from '../domain/book.ts';
import type { Refusal } from '../domain/chains.ts';
import { type DrainView, isSamePatient, patientKey } from '../domain/drain.ts';
import type { EntryBody, Kind, Reference, Site } from '../domain/entry.ts';
import { parseInstant } from '../domain/instant.ts';
import type { Settings } from '../domain/settings.ts';
import type { Place } from '../store/port.ts';

/** An entry as it comes from any door, checked by itself but not yet against the ledger. */
export interface Incoming {
  readonly drain: string;
  readonly body: EntryBody;
  /** Canonical text of what was sent: the same key must always come with the same. */
  readonly request: string;
  /** Whom and what place the sender names beside the drain; they must be the drain's. */
  readonly claims?: { readonly patient: Reference; readonly site: Site | null };
  /** An entry of these kinds that already stands under the identifier will do, whatever it says. */
  readonly unlessKnown?: readonly Kind[];
}

/** Why the ledger does not take an entry. */
export type NotTaken =
  | Refusal
  | {
      readonly refused: 'no-such-drain' | 'in-the-future' | 'patient-unknown' | 'site-differs';
      readonly pointer: string;
      readonly value: string;
      readonly mend: string;
    };

/** Null when nothing that the ledger knows stands in the way. */
export function notTaken(
  subject: Subject,
  place: Place,
  { drain, body, claims }: Incoming,
  settings: Settings,
): NotTaken | null {
  if (body.kind !== 'placed' && !subject.has(drain)) {
    return {
      refused: 'no-such-drain',
      pointer: '/drain',
      value: drain,
      mend: 'place the drain first: POST /v1/drains',
    };
  }
  const view = subject.get(drain)?.view;
  return (
    otherPatient(view, body) ??
    (view === undefined ? null : falseClaim(view, claims)) ??
    inTheFuture(place, body, settings)
  );
}

/** A sender that means another patient or side has the wrong drain: nothing of it may be charted. */
function falseClaim({ patient, site }: DrainView, claims: Incoming['claims']): NotTaken | null {
  if (claims === undefined) return null;
  const value = patientKey(claims.patient) ?? 'nobody';
  if (patient === undefined) {
    const mend = 'link the drain to its patient first: POST a drain-updated entry';
    return { refused: 'patient-unknown', pointer: '/subject', value, mend };
  }
  if (!isSamePatient(patient, claims.patient)) {
    const mend = `the drain is linked to ${patientKey(patient)}: name that patient so, or send another drain`;
    return { refused: 'patient-differs', pointer: '/subject', value, mend };
  }
  if (claims.site === null || claims.site === site) return null;
  const mend = `the drain is placed ${site}: leave the site out, or send another drain`;
  return { refused: 'site-differs', pointer: '/bodySite', value: claims.site, mend };
}

/** A drain stays with its patient: relabelling a history would put one patient's readings into another's record. */
function otherPatient(view: DrainView | undefined, body: EntryBody): NotTaken | null {
  const linked = patientKey(view?.patient);
  const named = body.kind === 'drain-updated' ? patientKey(body.patient) : null;
  if (linked === null || named === null || named === linked) return null;
  const mend = `the drain is linked to ${linked}: mark that link entered-in-error first, or place the drain anew`;
  return { refused: 'patient-differs', pointer: '/patient', value: named, mend };
}

/** A person's clock can be looked at and mended; a device's is marked instead (domain/step.ts). */
function inTheFuture(place: Place, body: EntryBody, settings: Settings): NotTaken | null {
  if (body.author.type === 'device') return null;
  const charted: readonly (readonly [string, string])[] =
    body.kind === 'corrected'
      ? [
          ['/effective_at', body.effective_at],
          ['/replacement/effective_at', body.replacement.effective_at],
        ]
      : [['/effective_at', body.effective_at]];
  for (const [pointer, text] of charted) {
    if ((parseInstant(text)?.ms ?? 0) - place.recordedMs <= settings.max_future_ms) continue;
    const mend = `send a time no later than 5 minutes after now, ${place.recordedAt}`;
    return { refused: 'in-the-future', pointer, value: text, mend };
  }
  return null;
}
