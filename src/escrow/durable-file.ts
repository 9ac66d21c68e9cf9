/** Files that are there after a power cut as they were written, whole or not at all. */
import { readFileSync, statSync } from 'node:fs';
import { open, rename, rm } from 'node:fs/promises';
import { dirname } from 'node:path';

export function readIfThere(file: string): string | undefined {
  try {
    return readFileSync(file, 'utf8');
  } catch (cause) {
    if (cause instanceof Error && 'code' in cause && cause.code === 'ENOENT') return undefined;
    throw new Error(`cannot read ${file}: ${String(cause)}; let this user read it`, { cause });
  }
}

/** Durable, whole or not at all. For its owner alone, where it is new; else whoever could read it before still can. */
export async function writeWhole(file: string, text: string): Promise<void> {
  const draft = `${file}.draft`;
  const before = statSync(file, { throwIfNoEntry: false });
  // What lies there may be of a crash, or a link that somebody else put there.
  await rm(draft, { force: true });
  const written = await open(draft, 'wx', 0o600);
  try {
    if (before !== undefined) {
      const { uid, gid } = await written.stat();
      if (uid !== before.uid || gid !== before.gid) await written.chown(before.uid, before.gid);
      await written.chmod(before.mode & 0o777);
    }
    await written.writeFile(text);
    await written.sync();
  } finally {
    await written.close();
  }
  await rename(draft, file);
  await syncFolder(dirname(file));
}

/** A new name is durable once its folder is. */
export async function syncFolder(folder: string): Promise<void> {
  const opened = await open(folder, 'r');
  try {
    await opened.sync();
  } finally {
    await opened.close();
  }
}
