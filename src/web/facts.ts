/** What holds for the whole page: the zone of the facility, and the units that may be named. */
import type { UnitProfile } from './answers.ts';
import { askKept } from './api.ts';

export interface Facts {
  readonly zone: string;
  readonly profiles: readonly UnitProfile[];
}

export async function askFacts(): Promise<Facts> {
  const [configuration, units] = await Promise.all([
    askKept<{ document: { calendar: { zone: string } } }>('/v1/configuration'),
    askKept<{ profiles: readonly UnitProfile[] }>('/v1/unit-profiles'),
  ]);
  return { zone: configuration.body.document.calendar.zone, profiles: units.body.profiles };
}
