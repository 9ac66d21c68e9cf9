/** Unit profiles as configuration: a JSON file, or the plain ones that ship with the service. */
import { z } from 'zod';
import { Decimal } from '../domain/numbers/decimal.ts';
import type { UnitProfile } from '../domain/vocabulary/unit-profile.ts';
import { parseExactJson } from '../json/exact-json.ts';
import { readJsonFile } from './json-file.ts';

const decimal = z.custom<Decimal>((value) => value instanceof Decimal, {
  error: 'is not a number with at most 3 decimals',
});
const positive = decimal.refine((value) => value.thousandths > 0, { error: 'must be more than 0' });

export const profile = z
  .strictObject({
    id: z.string().min(1).max(64),
    kind: z.enum(['gravity', 'wet-suction', 'dry-suction', 'electronic']),
    capacity_ml: positive,
    graduations: z.array(z.strictObject({ up_to_ml: positive, mark_ml: positive })).min(1),
    leak_scale_max: positive.optional(),
    seal_fill_cmh2o: positive.optional(),
    seal_reading_includes_fill: z.boolean(),
    seal_fill_counts: z.boolean(),
    charted_every_min: positive.optional(),
  })
  .refine(
    (p) =>
      p.graduations.every(
        (g, i) => i === 0 || g.up_to_ml.thousandths > (p.graduations[i - 1]?.up_to_ml.thousandths ?? 0),
      ),
    {
      error: 'graduations must rise',
    },
  )
  .refine((p) => p.graduations.at(-1)?.up_to_ml.thousandths === p.capacity_ml.thousandths, {
    error: 'the last graduation band must reach the capacity',
  });

const file = z.strictObject({ profiles: z.array(profile).min(1) });

/** @throws {Error} naming the file and all that is wrong in it */
export function readProfiles(path: string): ReadonlyMap<string, UnitProfile> {
  const { profiles } = readJsonFile(path, file, (text) =>
    parseExactJson(text, (digits) => Decimal.of(digits)),
  );
  return byId(profiles as readonly UnitProfile[]);
}

const dec = (digits: string): Decimal => Decimal.of(digits);

/** Generic kinds of unit, for a first start. Volumes and marks: common practice, no source. */
export function defaultProfiles(): ReadonlyMap<string, UnitProfile> {
  const chamber = {
    capacity_ml: dec('2000'),
    graduations: [
      { up_to_ml: dec('200'), mark_ml: dec('5') },
      { up_to_ml: dec('2000'), mark_ml: dec('10') },
    ],
  };
  const seal = {
    leak_scale_max: dec('5'),
    seal_fill_cmh2o: dec('2'),
    seal_reading_includes_fill: false,
    seal_fill_counts: false,
  };
  const small = { capacity_ml: dec('500'), graduations: [{ up_to_ml: dec('500'), mark_ml: dec('2') }] };
  return byId([
    { id: 'gravity-2000', kind: 'gravity', ...chamber, ...seal },
    { id: 'wet-2000', kind: 'wet-suction', ...chamber, ...seal },
    { id: 'dry-2000', kind: 'dry-suction', ...chamber, ...seal },
    { id: 'wet-500-paediatric', kind: 'wet-suction', ...small, ...seal },
    {
      id: 'electronic-800',
      kind: 'electronic',
      capacity_ml: dec('800'),
      graduations: [{ up_to_ml: dec('800'), mark_ml: dec('1') }],
      seal_reading_includes_fill: false,
      seal_fill_counts: false,
    },
  ]);
}

function byId(profiles: readonly UnitProfile[]): ReadonlyMap<string, UnitProfile> {
  return new Map(profiles.map((each) => [each.id, each]));
}
