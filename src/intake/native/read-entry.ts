/** A parsed JSON value to an entry body, or to all that is wrong with it. */
import type { z } from 'zod';
import type { EntryBody } from '../../domain/vocabulary/entry.ts';
import type { UnitProfile } from '../../domain/vocabulary/unit-profile.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { type Fault, shown } from '../fault.ts';
import { inFieldUnits } from './convert-units.ts';
import { entryBody, placementBody } from './schemas.ts';
import { faultsOf } from './zod-faults.ts';

export type Profiles = ReadonlyMap<string, UnitProfile>;
export type Read = { readonly body: EntryBody } | { readonly faults: readonly Fault[] };

export function readPlacement(value: ExactValue): Read {
  const read = checked(placementBody, value);
  if ('faults' in read) return read;
  return { body: { kind: 'placed', ...read.value } as unknown as EntryBody };
}

export function readEntry(value: ExactValue, profiles: Profiles): Read {
  const read = checked(entryBody, value);
  if ('faults' in read) return read;
  return withProfile(read.value as unknown as EntryBody, profiles);
}

function checked<T>(
  schema: z.ZodType<T>,
  value: ExactValue,
): { readonly value: T & object } | { readonly faults: readonly Fault[] } {
  const converted = inFieldUnits(value);
  if (converted.faults.length > 0) return converted;
  const result = schema.safeParse(converted.value);
  if (!result.success) return { faults: faultsOf(result.error, value) };
  const sent = converted.sent.length === 0 ? {} : { as_sent: converted.sent };
  return { value: { ...result.data, ...sent } as T & object };
}

/** The profile is copied into the entry: a later change of configuration must not change history. */
function withProfile(body: EntryBody, profiles: Profiles): Read {
  const place = body.kind === 'corrected' ? body.replacement : body;
  if (place.kind !== 'set-up' && place.kind !== 'unit-changed') return { body };
  const profile = profiles.get(place.profile);
  if (profile === undefined) {
    const mend = `send one of ${[...profiles.keys()].join(', ')}`;
    const pointer = body.kind === 'corrected' ? '/replacement/profile' : '/profile';
    return {
      faults: [{ pointer, value: shown(place.profile), detail: 'is no configured unit profile', mend }],
    };
  }
  const attached = { ...place, unit_profile: profile };
  return { body: (body.kind === 'corrected' ? { ...body, replacement: attached } : attached) as EntryBody };
}
