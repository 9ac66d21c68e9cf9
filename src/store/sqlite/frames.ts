/** Resource texts as frame and holes: written once a frame, read back exactly. */
import type Database from 'better-sqlite3';
import { frameName } from '../../audit/chain.ts';
import { type Framed, fill } from '../../json/frame.ts';

/** Kept in memory; beyond this the oldest are looked up again. */
const MOST_KEPT = 5000;

export interface FrameWriter {
  /** The stored text for these resources; their frames are in the database after it. */
  store(resources: readonly Framed[]): string;
  /** Forgets which frames are stored, after a rollback. */
  forget(): void;
}

export function createFrameWriter(db: Database.Database): FrameWriter {
  const insert = db.prepare('INSERT INTO frame (name, text) VALUES (?, ?) ON CONFLICT DO NOTHING');
  const names = new Map<string, string>();

  function nameOf(frame: string): string {
    const known = names.get(frame);
    if (known !== undefined) return known;
    const name = frameName(frame);
    insert.run(name, frame);
    if (names.size >= MOST_KEPT) names.clear();
    names.set(frame, name);
    return name;
  }

  return {
    store: (resources) => JSON.stringify(resources.map(({ frame, holes }) => [nameOf(frame), ...holes])),
    forget: () => names.clear(),
  };
}

/** Reads stored texts back. @throws {Error} when a frame is missing: the database is damaged */
export function createFrameReader(db: Database.Database): (stored: string) => string[] {
  const read = db.prepare<[string], string>('SELECT text FROM frame WHERE name = ?').pluck();
  const frames = new Map<string, string>();

  function frameOf(name: string): string {
    const known = frames.get(name);
    if (known !== undefined) return known;
    const frame = read.get(name);
    if (frame === undefined) throw new Error(`the frame ${name} is missing; run verify on this database`);
    if (frames.size >= MOST_KEPT) frames.clear();
    frames.set(name, frame);
    return frame;
  }

  return (stored) => {
    const resources = JSON.parse(stored) as readonly (readonly [string, ...string[]])[];
    return resources.map(([name, ...holes]) => fill({ frame: frameOf(name), holes }));
  };
}
