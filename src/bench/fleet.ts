/**
 * Electronic units that report every ten seconds, charted every quarter of an hour or all: what a reading costs, and how many
 * resources it issues, all of which go to the record. 2,000 drains are 200 readings a second.
 */
import { join } from 'node:path';
import { defaultProfiles } from '../configuration/profiles.ts';
import { Decimal } from '../domain/numbers/decimal.ts';
import type { UnitProfile } from '../domain/vocabulary/unit-profile.ts';
import { createRecord, drainNameOf, type Record } from '../record/record.ts';
import { incoming } from './cost-per-entry.ts';
import { processorTimeFromNow } from './measure.ts';
import { type Message, placement } from './messages.ts';
import { openBenchStore } from './store.ts';

const DRAINS = 200;
const EVERY_S = 10;
const MINUTES = 20;
const START_MS = Date.UTC(2026, 0, 1);
const PROFILE = 'electronic-800';

export interface FleetCost {
  readonly charted: string;
  readonly 'µs a reading': number;
  readonly 'issued a reading': number;
  /** Readings a second that one processor bears, as a share of those of 2,000 drains. */
  readonly 'share of 2,000 drains': number;
}

export async function fleetCost(folder: string): Promise<readonly FleetCost[]> {
  return [await cost(join(folder, 'fleet-all.db'), null), await cost(join(folder, 'fleet.db'), '15')];
}

async function cost(file: string, everyMin: string | null): Promise<FleetCost> {
  const { store, record } = openBenchStore(file, createRecord);
  const profiles = profilesWith(everyMin);
  const drains = await attached(record, profiles);
  let issued = 0;
  const costUs = processorTimeFromNow();
  const rounds = (MINUTES * 60) / EVERY_S;
  for (let n = 1; n <= rounds; n += 1) {
    const told = drains.map((drain, at) => record([incoming(drain, report(drain, at, n), profiles)]));
    for (const [outcome] of await Promise.all(told)) {
      if (outcome?.kind !== 'recorded') throw new Error(JSON.stringify(outcome));
      issued += (JSON.parse(outcome.receipt) as { observations: number }).observations;
    }
  }
  const each = costUs() / (rounds * DRAINS);
  await store.close();
  return {
    charted: everyMin === null ? 'all' : `every ${everyMin} min`,
    'µs a reading': Math.round(each),
    'issued a reading': Number((issued / (rounds * DRAINS)).toFixed(2)),
    'share of 2,000 drains': Number((1_000_000 / each / (2_000 / EVERY_S)).toFixed(1)),
  };
}

function profilesWith(everyMin: string | null): ReadonlyMap<string, UnitProfile> {
  const profiles = new Map(defaultProfiles());
  const unit = profiles.get(PROFILE);
  if (unit === undefined) throw new Error(`there is no profile ${PROFILE}`);
  if (everyMin !== null) profiles.set(PROFILE, { ...unit, charted_every_min: Decimal.of(everyMin) });
  return profiles;
}

async function attached(
  record: Record,
  profiles: ReadonlyMap<string, UnitProfile>,
): Promise<readonly string[]> {
  const drains: string[] = [];
  for (let n = 0; n < DRAINS; n += 1) {
    const placed = incoming('', placement('fleet', n));
    const drain = drainNameOf(placed.body.identifier);
    await record([{ ...placed, drain }]);
    const setUp = { kind: 'set-up', profile: PROFILE, opening_level_ml: 0 };
    await record([incoming(drain, message(drain, `set-up-${n}`, 0, setUp), profiles)]);
    drains.push(drain);
  }
  return drains;
}

/** Some 60 mL an hour, in the steps of the scale. */
const report = (drain: string, at: number, n: number): Message =>
  message(drain, `${at}-${n}`, n * EVERY_S, {
    kind: 'reading',
    level_ml: Math.floor(n / 6),
    pressure_cmh2o: -15 + ((at + n) % 3),
    air_leak: { flow_ml_min: 20 + ((at * 7 + n) % 5) },
  });

function message(drain: string, key: string, afterS: number, says: object): Message {
  return {
    path: `/v1/drains/${drain}/entries`,
    body: JSON.stringify({
      identifier: { system: 'urn:example:bench:fleet', value: key },
      author: { type: 'device', identifier: { system: 'urn:example:bench:device', value: drain } },
      effective_at: new Date(START_MS + afterS * 1000).toISOString(),
      ...says,
    }),
  };
}
