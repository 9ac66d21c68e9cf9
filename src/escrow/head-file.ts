/** The newest head of the log in a file outside the database: it finds at start what the database itself cannot miss. */
import { readCheckpoint } from '../audit/checkpoint.ts';
import type { KeptHead } from '../audit/standing.ts';
import { readIfThere } from './durable-file.ts';

/** @throws {Error} where there is a file and no head in it: it is never half written, so something else is wrong */
export function readHeadFile(file: string): KeptHead | undefined {
  const text = readIfThere(file);
  if (text === undefined) return undefined;
  const note = readCheckpoint(text);
  if (note === undefined)
    throw new Error(`${file} holds no head of a log: give another path, or move it away`);
  return { where: `the head file ${file}`, note };
}
