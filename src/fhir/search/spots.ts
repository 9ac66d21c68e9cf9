/** Where in a skeleton a search parameter looks, worked out once for all resources of a frame. */
import { type Filling, isHole, nodeReader, type ReadNode } from '../../json/skeleton.ts';
import { collect, isJson, type Json, stepsOf } from './extract.ts';
import type { SearchParameter } from './resource-type.ts';

/** A place that a path comes to in a skeleton; at a hole the rest of its steps is still to go. */
export interface Spot {
  readonly node: unknown;
  readonly read: ReadNode;
  readonly steps: readonly string[];
  readonly at: number;
}

export function spotsOf(root: Json, parameter: SearchParameter): readonly Spot[] {
  const spots: Spot[] = [];
  for (const steps of stepsOf(parameter)) collectSpots(root, steps, 0, spots);
  return spots;
}

/** {@link collect} as far as the skeleton goes. */
function collectSpots(node: unknown, steps: readonly string[], at: number, into: Spot[]): void {
  if (Array.isArray(node)) {
    for (const each of node) collectSpots(each, steps, at, into);
    return;
  }
  const step = steps[at];
  if (step === undefined || isHole(node)) into.push({ node, read: nodeReader(node), steps, at });
  else if (isJson(node) && node[step] !== undefined) collectSpots(node[step], steps, at + 1, into);
}

/** Whether it is one value, whatever fills it: a hole may be a list, or be gone on from. */
export const isOneValue = ({ node, steps, at }: Spot): boolean => at === steps.length && !isHole(node);

/** What a parameter looks at there. */
export function valuesOf(spots: readonly Spot[], filling: Filling): readonly unknown[] {
  const values: unknown[] = [];
  for (const { read, steps, at } of spots) collect(read(filling), steps, at, values);
  return values;
}

interface Made<T> {
  readonly value: unknown;
  readonly steps: readonly string[];
  readonly at: number;
  readonly made: T;
}

/** What is made of the values at spots of a frame. */
export type MadeAt<T> = (spots: readonly Spot[]) => (filling: Filling) => T;

/**
 * Makes something of what a parameter looks at. Where that is one hole, it is made once for all resources that say the
 * same one after another, as those of an entry do: holes of one text are one value (json/skeleton.ts).
 */
export function makerOf<T>(make: (values: readonly unknown[]) => T): MadeAt<T> {
  let latest: Made<T> | undefined;
  return (spots) => {
    const [only, ...others] = spots;
    if (only === undefined || others.length > 0 || !isHole(only.node))
      return (filling) => make(valuesOf(spots, filling));
    const { read, steps, at } = only;
    return (filling) => {
      const value = read(filling);
      if (latest === undefined || latest.value !== value || latest.steps !== steps || latest.at !== at)
        latest = { value, steps, at, made: make(valuesOf(spots, filling)) };
      return latest.made;
    };
  };
}
