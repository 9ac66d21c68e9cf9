/** Writes one archive, so that a kill at any moment leaves it whole, or a draft that the next run makes anew. */
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type Database from 'better-sqlite3';
import { readCheckpoint } from '../../audit/checkpoint.ts';
import { syncFolder } from '../../escrow/durable-file.ts';
import { writeBundle } from '../audit-bundle/write.ts';
import type { Group } from '../closed-drains.ts';
import { whole } from '../output.ts';

export interface Archive {
  readonly bundle: string;
  readonly manifest_sha256: string;
  readonly entries: number;
  readonly covered: number;
}

/**
 * Writes it beside its place, has it verified by the verifier in it, and moves it there. One that is there already was
 * left by a run that was ended before the log said so: it is verified again and taken.
 * @param key C2SP verifier key of the log
 * @throws {Error} where it cannot be written, or does not verify
 */
export async function archiveGroup(
  db: Database.Database,
  group: Group,
  folder: string,
  key: string,
): Promise<Archive> {
  const bundle = nameOf(group);
  const path = join(folder, bundle);
  mkdirSync(folder, { recursive: true, mode: 0o700 });
  if (existsSync(path)) mustVerify(path, key);
  else
    await whole(path, async (draft) => {
      writeBundle(db, wantedOf(group), draft, () => {});
      await syncFolder(draft);
      mustVerify(draft, key);
    });
  const manifest = readFileSync(join(path, 'manifest.json'));
  const { about, entries } = JSON.parse(manifest.toString()) as Manifest;
  if (about.drains.join() !== group.drains.join())
    throw new Error(`${path} is an archive of other drains: move it away, and run this again`);
  const covered = readCheckpoint(readFileSync(join(path, 'checkpoint.txt'), 'utf8'))?.size ?? 0;
  return { bundle, manifest_sha256: createHash('sha256').update(manifest).digest('hex'), entries, covered };
}

interface Manifest {
  readonly about: { readonly drains: readonly string[] };
  readonly entries: number;
}

/** Names no patient. What is charted later makes another name, so that no archive takes the place of another. */
const nameOf = ({ drains, newest }: Group): string => `${drains[0]}-${newest}`;

const wantedOf = ({ patient, drains }: Group) =>
  patient === null ? { drain: drains[0] ?? '' } : { patient };

/** By the file that goes with it, as a stranger would. */
function mustVerify(path: string, key: string): void {
  const args = [join(path, 'verify.mjs'), path, '--key', key];
  const { status, stdout, stderr } = spawnSync(process.execPath, args, { env: {}, encoding: 'utf8' });
  if (status !== 0)
    throw new Error(
      `${path} does not verify: ${(stdout + stderr).trim()}; nothing was said of it in the log`,
    );
}
