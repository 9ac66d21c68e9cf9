/**
 * What the index keeps of a resource whose text is a frame with holes: the same as {@link extract} finds in the whole
 * text. What a frame itself says is looked at once, and only its holes for each resource.
 */
import { type Frame, type Framed, fill } from '../../json/frame.ts';
import {
  type Filling,
  filled,
  fillingOf,
  isHole,
  isOpen,
  readSkeleton,
  type Skeleton,
} from '../../json/skeleton.ts';
import type { ReadDate } from './date-range.ts';
import {
  collect,
  type Extract,
  extract,
  isJson,
  isQuantity,
  isThere,
  type Json,
  type Looked,
  ownOf,
  type Shape,
  shapeOf,
  stepsOf,
  tokensOf,
  unitOf,
} from './extract.ts';
import type { ResourceType, SearchParameter } from './resource-type.ts';

/** Finds what the index keeps; undefined for a type that is not held here. */
export type ExtractFramed = (framed: Framed) => Extract | undefined;

export function createFramedExtractor(types: readonly ResourceType[], readDate: ReadDate): ExtractFramed {
  const readers = new WeakMap<Frame, Reader | null>();

  function readerOf(frame: Frame): Reader | null {
    const known = readers.get(frame);
    if (known !== undefined) return known;
    const made = readerFor(readSkeleton(frame), types);
    readers.set(frame, made);
    return made;
  }

  function wholeText(framed: Framed): Extract | undefined {
    const resource = JSON.parse(fill(framed)) as Json;
    const type = types.find((each) => each.type === resource.resourceType);
    return type === undefined ? undefined : extract(type, resource, readDate);
  }

  return (framed) => {
    const reader = readerOf(framed.frame);
    if (reader === null) return wholeText(framed);
    const filling = fillingOf(reader.skeleton, framed);
    if (filling === undefined) return wholeText(framed);
    const looked = lookedAt(reader, filling);
    return { ...ownOf(reader.type, looked, readDate), shape: shapeOfLooked(reader, looked) };
  };
}

/** Where the values that a parameter looks at come from. */
interface Source {
  /** What every resource of the frame says there; null where a hole has a part in it. */
  readonly fixed: readonly unknown[] | null;
  readonly spots: readonly Spot[];
}

/** A place that a path comes to in a skeleton; at a hole the rest of its steps is still to go. */
interface Spot {
  readonly node: unknown;
  readonly steps: readonly string[];
  readonly at: number;
}

interface Reader {
  readonly skeleton: Skeleton;
  readonly type: ResourceType;
  readonly head: Readonly<Record<'id' | 'version' | 'updated' | 'code', unknown>>;
  readonly isCodeFixed: boolean;
  readonly sources: readonly Source[];
  /** By what the holes say of it: one object for all that share it. */
  readonly shapes: Map<string, Shape>;
}

/** Null where the type is not fixed: such a text is read as a whole. */
function readerFor(skeleton: Skeleton | undefined, types: readonly ResourceType[]): Reader | null {
  const root = skeleton?.root;
  if (skeleton === undefined || !isJson(root)) return null;
  const type = types.find((each) => each.type === root.resourceType);
  if (type === undefined || isHole(root.meta)) return null;
  const meta = isJson(root.meta) ? root.meta : {};
  return {
    skeleton,
    type,
    head: { id: root.id, version: meta.versionId, updated: meta.lastUpdated, code: root.code },
    isCodeFixed: !isOpen(root.code),
    sources: type.parameters.map((parameter) => sourceOf(root, parameter)),
    shapes: new Map(),
  };
}

function sourceOf(root: Json, parameter: SearchParameter): Source {
  const spots: Spot[] = [];
  for (const steps of stepsOf(parameter)) collectSpots(root, steps, 0, spots);
  const fixed = spots.some(({ node }) => isOpen(node)) ? null : spots.map(({ node }) => node);
  return { fixed, spots };
}

/** {@link collect} as far as the skeleton goes. */
function collectSpots(node: unknown, steps: readonly string[], at: number, into: Spot[]): void {
  if (Array.isArray(node)) {
    for (const each of node) collectSpots(each, steps, at, into);
    return;
  }
  const step = steps[at];
  if (step === undefined || isHole(node)) into.push({ node, steps, at });
  else if (isJson(node) && node[step] !== undefined) collectSpots(node[step], steps, at + 1, into);
}

function lookedAt({ head, isCodeFixed, sources }: Reader, filling: Filling): Looked {
  return {
    id: filled(head.id, filling),
    version: filled(head.version, filling),
    updated: filled(head.updated, filling),
    code: isCodeFixed ? head.code : filled(head.code, filling),
    values: sources.map(({ fixed, spots }) => fixed ?? valuesOf(spots, filling)),
  };
}

function valuesOf(spots: readonly Spot[], filling: Filling): readonly unknown[] {
  const values: unknown[] = [];
  for (const { node, steps, at } of spots) collect(filled(node, filling), steps, at, values);
  return values;
}

function shapeOfLooked({ type, isCodeFixed, sources, shapes }: Reader, looked: Looked): Shape {
  let key = isCodeFixed ? '' : JSON.stringify(looked.code);
  type.parameters.forEach((parameter, i) => {
    if (sources[i]?.fixed === null) key += `\n${inShape(parameter, looked.values[i] ?? [])}`;
  });
  const known = shapes.get(key);
  if (known !== undefined) return known;
  const shape = shapeOf(type, looked);
  shapes.set(key, shape);
  return shape;
}

/** What of the values of a parameter is part of the shape. */
function inShape(parameter: SearchParameter, values: readonly unknown[]): string {
  if (parameter.home === 'shape') return JSON.stringify(tokensOf(parameter, values));
  if (parameter.home === 'value') return JSON.stringify(unitOf(values.find(isQuantity)));
  return isThere(parameter, values) ? 'there' : '';
}
