/** The newest head of the log in a file outside the database: it finds at start what the database itself cannot miss. */
import { readFileSync } from 'node:fs';
import { open, rename } from 'node:fs/promises';
import { dirname } from 'node:path';
import { readCheckpoint } from '../audit/checkpoint.ts';
import type { KeptHead } from '../audit/standing.ts';

/** @throws {Error} where there is a file and no head in it: it is never half written, so something else is wrong */
export function readHeadFile(file: string): KeptHead | undefined {
  const text = readIfThere(file);
  if (text === undefined) return undefined;
  const note = readCheckpoint(text);
  if (note === undefined)
    throw new Error(`${file} holds no head of a log: give another path, or move it away`);
  return { where: `the head file ${file}`, note };
}

export function readIfThere(file: string): string | undefined {
  try {
    return readFileSync(file, 'utf8');
  } catch (cause) {
    if (cause instanceof Error && 'code' in cause && cause.code === 'ENOENT') return undefined;
    throw new Error(`cannot read ${file}: ${String(cause)}; let this user read it`, { cause });
  }
}

/** Durable, and whole or not at all. */
export async function writeHeadFile(file: string, text: string): Promise<void> {
  const draft = `${file}.draft`;
  const written = await open(draft, 'w', 0o600);
  try {
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
