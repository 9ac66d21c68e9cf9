/** The files of an export: lines of one type each, written in large pieces, begun anew when they grow long. */
import { join } from 'node:path';
import { openPieceFile, type PieceFile } from '../piece-file.ts';
import type { Output } from './job.ts';

export interface ExportFiles {
  /** A line: JSON text of a resource. @param drain that it is about; null: none */
  add(type: string, text: string, drain: string | null): void;
  /** Makes all durable. */
  finish(): readonly Output[];
  /** Lets go of what is open, after a failure. */
  abandon(): void;
}

interface Open {
  readonly name: string;
  readonly file: PieceFile;
  count: number;
  readonly drains: Set<string>;
}

/** @param mostLines of one file, so that a client can fetch several at once and repeat a part */
export function createExportFiles(folder: string, mostLines: number): ExportFiles {
  const done: Output[] = [];
  const open = new Map<string, Open>();
  const begun = new Map<string, number>();

  function fileFor(type: string): Open {
    const known = open.get(type);
    if (known !== undefined) return known;
    const number = (begun.get(type) ?? 0) + 1;
    begun.set(type, number);
    const name = `${type}.${number}.ndjson`;
    const made = { name, file: openPieceFile(join(folder, name)), count: 0, drains: new Set<string>() };
    open.set(type, made);
    return made;
  }

  function end(type: string, { name, file, count, drains }: Open): void {
    file.finish();
    open.delete(type);
    done.push({ type, name, count, drains: [...drains] });
  }

  return {
    add(type, text, drain) {
      const one = fileFor(type);
      one.file.add(text);
      one.file.add('\n');
      one.count += 1;
      if (drain !== null) one.drains.add(drain);
      if (one.count >= mostLines) end(type, one);
    },
    finish() {
      for (const [type, one] of open) end(type, one);
      return done;
    },
    abandon() {
      for (const { file } of open.values()) file.abandon();
      open.clear();
    },
  };
}
