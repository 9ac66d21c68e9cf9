/** A unit that a device reads more often than is charted: once a quarter of an hour. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';

export const QUARTERLY = 'electronic-800';

/** @returns the file, in this folder, of profiles with that unit alone */
export function quarterlyProfiles(folder: string): string {
  const profile = {
    id: QUARTERLY,
    kind: 'electronic',
    capacity_ml: 800,
    graduations: [{ up_to_ml: 800, mark_ml: 1 }],
    seal_reading_includes_fill: false,
    seal_fill_counts: false,
    charted_every_min: 15,
  };
  const file = join(folder, 'profiles.json');
  writeFileSync(file, JSON.stringify({ profiles: [profile] }));
  return file;
}
