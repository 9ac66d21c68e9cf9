/**
 * What the index keeps of a resource whose text is a frame with holes: the same as {@link extract} finds in the whole
 * text. What a frame itself says is looked at once, and only its holes for each resource.
 */
import { type Frame, type Framed, fill } from '../../json/frame.ts';
import {
  type Filling,
  fillingOf,
  isHole,
  isOpen,
  nodeReader,
  type ReadNode,
  readSkeleton,
  type Skeleton,
} from '../../json/skeleton.ts';
import type { Range, ReadDate } from './date-range.ts';
import {
  type Extract,
  extract,
  isJson,
  isQuantity,
  type Json,
  nameOf,
  rangeOf,
  type Shape,
  type Subject,
  shapeOf,
  subjectOf,
} from './extract.ts';
import { idReader, type ReadWords, wordsReader } from './framed-words.ts';
import type { Home, ResourceType, SearchParameter } from './resource-type.ts';
import { shapeKeyReader } from './shape-key.ts';
import { type MadeAt, makerOf, type Spot, spotsOf, valuesOf } from './spots.ts';
import type { Word } from './word.ts';

/** Finds what the index keeps; undefined for a type that is not held here. */
export type ExtractFramed = (framed: Framed) => Extract | undefined;

export function createFramedExtractor(types: readonly ResourceType[], readDate: ReadDate): ExtractFramed {
  const readers = new WeakMap<Frame, Reader | null>();
  const makers = types.map((type) => makersOf(type, readDate));

  function readerOf(frame: Frame): Reader | null {
    const known = readers.get(frame);
    if (known !== undefined) return known;
    const made = readerFor(readSkeleton(frame), makers);
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
    return filling === undefined ? wholeText(framed) : readBy(reader, filling);
  };
}

/** What is made of what the parameters of a type look at, whatever the frame. */
interface Makers {
  readonly type: ResourceType;
  readonly of: readonly Maker[];
}

interface Maker {
  readonly parameter: SearchParameter;
  readonly words: ReturnType<typeof wordsReader>;
  readonly shapeKey: ReturnType<typeof shapeKeyReader>;
  readonly subject: MadeAt<Subject | null>;
  readonly effective: MadeAt<Range | null>;
  readonly value: MadeAt<number | null>;
}

const makersOf = (type: ResourceType, readDate: ReadDate): Makers => ({
  type,
  of: type.parameters.map((parameter) => ({
    parameter,
    words: wordsReader(parameter),
    shapeKey: shapeKeyReader(parameter),
    subject: makerOf(([first]) => subjectOf(first)),
    effective: makerOf(([first]) => rangeOf(first, readDate)),
    value: makerOf((values) => values.find(isQuantity)?.value ?? null),
  })),
});

type Read<T> = (filling: Filling) => T | null;

interface Reader {
  readonly skeleton: Skeleton;
  readonly type: ResourceType;
  readonly name: Readonly<Record<'id' | 'version' | 'updated', ReadNode>>;
  readonly words: readonly ReadWords[];
  readonly subject: readonly Read<Subject>[];
  readonly effective: readonly Read<Range>[];
  readonly value: readonly Read<number>[];
  readonly shape: (filling: Filling) => Shape;
}

/** Null where the type is not fixed, or that the id is a string: such a text is read as a whole. */
function readerFor(skeleton: Skeleton | undefined, makers: readonly Makers[]): Reader | null {
  const root = skeleton?.root;
  if (skeleton === undefined || !isJson(root)) return null;
  const found = makers.find(({ type }) => type.type === root.resourceType);
  const id = idReader(root.id);
  if (found === undefined || id === undefined || isHole(root.meta)) return null;
  const meta = isJson(root.meta) ? root.meta : {};
  const looked = found.of.map((make) => ({ make, spots: spotsOf(root, make.parameter) }));
  const at = (home: Home) =>
    looked.filter(({ make, spots }) => make.parameter.home === home && spots.length > 0);
  return {
    skeleton,
    type: found.type,
    name: {
      id: nodeReader(root.id),
      version: nodeReader(meta.versionId),
      updated: nodeReader(meta.lastUpdated),
    },
    words: [id, ...at('word').flatMap(({ make, spots }) => spots.map(make.words))],
    subject: at('subject').map(({ make, spots }) => make.subject(spots)),
    effective: at('effective').map(({ make, spots }) => make.effective(spots)),
    value: at('value').map(({ make, spots }) => make.value(spots)),
    shape: shapeReader(found.type, root.code, looked),
  };
}

function readBy(reader: Reader, filling: Filling): Extract {
  const { name, type, shape, subject, effective, value } = reader;
  const { id, version, updatedMs } = nameOf(type, {
    id: name.id(filling),
    version: name.version(filling),
    updated: name.updated(filling),
  });
  const words: Word[] = [];
  for (const read of reader.words) read(filling, words);
  return {
    id,
    version,
    updatedMs,
    shape: shape(filling),
    subject: firstOf(subject, filling),
    effective: firstOf(effective, filling),
    value: firstOf(value, filling),
    words,
  };
}

function firstOf<T>(readers: readonly Read<T>[], filling: Filling): T | null {
  for (const read of readers) {
    const found = read(filling);
    if (found !== null) return found;
  }
  return null;
}

/** One object for all resources of a frame that share it. */
function shapeReader(
  type: ResourceType,
  code: unknown,
  looked: readonly { readonly make: Maker; readonly spots: readonly Spot[] }[],
): (filling: Filling) => Shape {
  const shapes = new Map<string, Shape>();
  const readCode = nodeReader(code);
  const readKeys = [
    ...(isOpen(code) ? [(filling: Filling) => JSON.stringify(readCode(filling))] : []),
    ...looked.flatMap(({ make, spots }) => make.shapeKey(spots) ?? []),
  ];
  return (filling) => {
    let key = '';
    for (const read of readKeys) key += `${read(filling)}\n`;
    const known = shapes.get(key);
    if (known !== undefined) return known;
    const values = looked.map(({ spots }) => valuesOf(spots, filling));
    const shape = shapeOf(type, { code: readCode(filling), values });
    shapes.set(key, shape);
    return shape;
  };
}
