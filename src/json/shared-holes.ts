/**
 * Several texts of frames and holes as one: what was given before is a number instead of the same text again. A bedside
 * reading fills some 150 holes, of which a third says something new.
 */

/** Of one text: the name of its frame, and what fills the holes. */
export type NamedHoles = readonly [frame: string, ...holes: string[]];

/** JSON: a list for each, in which a number stands for the hole of that number among those written out so far, from 0. */
export function writeSharing(texts: readonly NamedHoles[]): string {
  const given = new Map<string, number>();
  const shared = (hole: string): string | number => {
    const before = given.get(hole);
    if (before === undefined) given.set(hole, given.size);
    return before ?? hole;
  };
  return JSON.stringify(texts.map(([frame, ...holes]) => [frame, ...holes.map(shared)]));
}

/** Reads back also what was written before anything was shared. */
export function readSharing(stored: string): NamedHoles[] {
  const given: string[] = [];
  const whole = (hole: string | number): string => {
    if (typeof hole === 'number') return given[hole] ?? '';
    given.push(hole);
    return hole;
  };
  const texts = JSON.parse(stored) as readonly (readonly [string, ...(string | number)[]])[];
  return texts.map(([frame, ...holes]) => [frame, ...holes.map(whole)]);
}
