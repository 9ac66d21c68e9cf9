/** The files of an export: lines of one type each, written in large pieces, begun anew when they grow long. */
import { closeSync, fsyncSync, openSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Output } from './job.ts';

export interface ExportFiles {
  /** A line: JSON text of a resource. */
  add(type: string, text: string): void;
  /** Makes all durable. */
  finish(): readonly Output[];
  /** Lets go of what is open, after a failure. */
  abandon(): void;
}

const PIECE_CHARACTERS = 256 * 1024;

interface Open {
  readonly name: string;
  readonly fd: number;
  lines: string[];
  /** Characters of these. */
  size: number;
  count: number;
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
    const file = { name, fd: openSync(join(folder, name), 'wx', 0o600), lines: [], size: 0, count: 0 };
    open.set(type, file);
    return file;
  }

  function end(type: string, file: Open): void {
    write(file);
    fsyncSync(file.fd);
    closeSync(file.fd);
    open.delete(type);
    done.push({ type, name: file.name, count: file.count });
  }

  return {
    add(type, text) {
      const file = fileFor(type);
      file.lines.push(text);
      file.size += text.length;
      file.count += 1;
      if (file.size >= PIECE_CHARACTERS) write(file);
      if (file.count >= mostLines) end(type, file);
    },
    finish() {
      for (const [type, file] of open) end(type, file);
      return done;
    },
    abandon() {
      for (const { fd } of open.values()) closeSync(fd);
      open.clear();
    },
  };
}

function write(file: Open): void {
  if (file.lines.length === 0) return;
  // To a descriptor it goes on where it is, and writes all or throws.
  writeFileSync(file.fd, `${file.lines.join('\n')}\n`);
  file.lines = [];
  file.size = 0;
}
