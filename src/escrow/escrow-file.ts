/**
 * Every checkpoint in a file that is only ever appended to, best on another volume or host: one line of JSON each,
 * with the time. A line that a crash cut short is followed by a whole one, and readers pass it over.
 */
import { open } from 'node:fs/promises';
import { dirname } from 'node:path';
import { type Note, readCheckpoint } from '../audit/checkpoint.ts';
import type { KeptHead } from '../audit/standing.ts';
import { readIfThere, syncFolder } from './durable-file.ts';

export interface Escrowed {
  readonly notes: readonly Note[];
  /** Numbers of lines, from 1, that hold no checkpoint. */
  readonly unreadable: readonly number[];
}

/** Reads such a file, or a file that is one checkpoint as it was signed. */
export function readEscrow(text: string): Escrowed {
  const whole = readCheckpoint(text);
  if (whole !== undefined) return { notes: [whole], unreadable: [] };
  const notes: Note[] = [];
  const unreadable: number[] = [];
  for (const [at, line] of text.split('\n').entries()) {
    if (line === '') continue;
    const note = noteIn(line);
    if (note === undefined) unreadable.push(at + 1);
    else notes.push(note);
  }
  return { notes, unreadable };
}

function noteIn(line: string): Note | undefined {
  try {
    const { checkpoint } = JSON.parse(line) as { readonly checkpoint?: unknown };
    return typeof checkpoint === 'string' ? readCheckpoint(checkpoint) : undefined;
  } catch {
    return undefined;
  }
}

/** What the file saw last; undefined where nothing is in it yet. */
export function readEscrowFile(file: string): KeptHead | undefined {
  const note = readEscrow(readIfThere(file) ?? '').notes.at(-1);
  return note && { where: `the escrow file ${file}`, note };
}

export const appendToEscrow = (file: string, checkpoint: string, at: string): Promise<void> =>
  appendLine(file, { at, checkpoint });

/** Durable when it resolves. */
export async function appendLine(file: string, said: object): Promise<void> {
  const opened = await open(file, 'a', 0o600);
  try {
    // On a line of its own, whatever a crash left of the last one.
    await opened.appendFile(`\n${JSON.stringify(said)}\n`);
    await opened.sync();
  } finally {
    await opened.close();
  }
  await syncFolder(dirname(file));
}
