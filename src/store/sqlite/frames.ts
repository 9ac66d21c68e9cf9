/** Resource texts as frame and holes: written once a frame, read back exactly. */
import type Database from 'better-sqlite3';
import { frameName } from '../../audit/chain.ts';
import { type Frame, type Framed, fill } from '../../json/frame.ts';
import { readSharing, writeSharing } from '../../json/shared-holes.ts';

export interface FrameWriter {
  /** The stored text for these resources; their frames are in the database after it. */
  store(resources: readonly Framed[]): string;
  /** Forgets which frames are stored, after a rollback. */
  forget(): void;
}

export function createFrameWriter(db: Database.Database): FrameWriter {
  const insert = db.prepare('INSERT INTO frame (name, text) VALUES (?, ?) ON CONFLICT DO NOTHING');
  let names = new WeakMap<Frame, string>();

  function nameOf(frame: Frame): string {
    const known = names.get(frame);
    if (known !== undefined) return known;
    const name = frameName(frame.text);
    insert.run(name, frame.text);
    names.set(frame, name);
    return name;
  }

  return {
    store: (resources) => writeSharing(resources.map(({ frame, holes }) => [nameOf(frame), ...holes])),
    forget() {
      names = new WeakMap();
    },
  };
}

/** Kept in memory by a reader; beyond this all are looked up again. */
const MOST_KEPT = 5000;

/** Reads stored texts back. @throws {Error} when a frame is missing: the database is damaged */
export function createFrameReader(db: Database.Database): (stored: string) => string[] {
  const framedIn = createFramedReader(db);
  return (stored) => framedIn(stored).map(fill);
}

/** The same, with the holes still open. @throws {Error} when a frame is missing */
export function createFramedReader(db: Database.Database): (stored: string) => Framed[] {
  const frameOf = createFrameFinder(db);
  return (stored) => readSharing(stored).map(([name, ...holes]) => ({ frame: frameOf(name), holes }));
}

/** Reads some of the stored texts back; undefined past the last. @throws {Error} when a frame is missing */
export function createTextReader(
  db: Database.Database,
): (stored: string) => (position: number) => string | undefined {
  const frameOf = createFrameFinder(db);
  return (stored) => {
    const all = readSharing(stored);
    return (position) => {
      const one = all[position];
      if (one === undefined) return undefined;
      const [name, ...holes] = one;
      return fill({ frame: frameOf(name), holes });
    };
  };
}

function createFrameFinder(db: Database.Database): (name: string) => Frame {
  const read = db.prepare<[string], string>('SELECT text FROM frame WHERE name = ?').pluck();
  const frames = new Map<string, Frame>();

  function frameOf(name: string): Frame {
    const known = frames.get(name);
    if (known !== undefined) return known;
    const text = read.get(name);
    if (text === undefined) throw new Error(`the frame ${name} is missing; run verify on this database`);
    const frame = { text };
    if (frames.size >= MOST_KEPT) frames.clear();
    frames.set(name, frame);
    return frame;
  }

  return frameOf;
}
