/**
 * What an issued resource says of itself that delivery goes by. It is read off its frame once and filled each time: of what a
 * reading issues nine tenths are the same each time, and no text need be made to know what it is called and refers to.
 */
import { type Frame, type Framed, fill, holesIn } from '../json/frame.ts';
import { readSkeleton, type Skeleton } from '../json/skeleton.ts';

/** Type, id and version as we issued it. */
export interface Head {
  readonly type: string;
  readonly id: string;
  readonly version: number;
  /** It says whom it is about. */
  readonly hasSubject: boolean;
  /** Names of the resources of ours that it refers to. */
  readonly references: readonly string[];
  /** In the same order, the versions that it names of them. */
  readonly versions: readonly (string | undefined)[];
}

/** Fixed text, and numbers of holes. */
type Template = readonly (string | number)[];

interface Outline {
  readonly type: string;
  readonly id: Template;
  readonly version: Template;
  readonly hasSubject: boolean;
  readonly references: readonly { readonly name: Template; readonly version: Template | undefined }[];
  /** Holes within its id, within all names, and within versions. */
  readonly ofId: readonly number[];
  readonly ofNames: readonly number[];
  readonly ofVersions: readonly number[];
  readonly ofStrings: Skeleton['ofStrings'];
  readonly ofValues: Skeleton['ofValues'];
}

/** Our texts begin with type, id, version and time. */
export const OPENING = /^\{"resourceType":"([A-Za-z]+)","id":"([A-Za-z0-9\-.]{1,64})"/d;
export const META = /^,"meta":\{"versionId":"(\d+)","lastUpdated":"[^"]*"(,?)/d;
/** Our ids have parts with dots between; without them it is the target's own Patient, or whoever charted. */
export const REFERENCE = /"reference":"([A-Za-z]+\/[A-Za-z0-9-]+\.[A-Za-z0-9\-.]+)(?:\/_history\/(\d+))?"/dg;
const ANY_REFERENCE = /"reference":"?[^"]*/g;
const SUBJECT = '"subject":';

/** @throws {Error} when it was not written here */
export function headOf(written: string | Framed): Head {
  if (typeof written === 'string') return headIn(written);
  const outline = outlineOfFrame(written.frame);
  const isShown = outline !== null && isAllOf(outline, written.holes);
  return isShown ? headFrom(outline, written.holes) : headIn(fill(written));
}

/** Type and id. @throws {Error} when it was not written here */
export function nameOf(written: string | Framed): string {
  if (typeof written === 'string') return nameIn(written);
  const outline = outlineOfFrame(written.frame);
  const isShown = outline?.ofId.every((hole) => isName(written.holes[hole])) === true;
  return isShown ? nameFrom(outline, written.holes) : nameIn(fill(written));
}

function openingOf(text: string) {
  const [opening, type, id] = OPENING.exec(text) ?? [];
  if (opening === undefined || type === undefined || id === undefined)
    throw new Error('an issued text does not start with its type and id');
  return { opening, type, id };
}

function nameIn(text: string): string {
  const { type, id } = openingOf(text);
  return `${type}/${id}`;
}

function headIn(text: string): Head {
  const { opening, type, id } = openingOf(text);
  const version = Number(META.exec(text.slice(opening.length))?.[1] ?? 1);
  const found = [...text.matchAll(REFERENCE)];
  return {
    type,
    id,
    version,
    hasSubject: text.includes(SUBJECT),
    references: found.map(([, name = '']) => name),
    versions: found.map(([, , named]) => named),
  };
}

const outlines = new WeakMap<Frame, Outline | null>();

/** Null where the frame does not show it. */
function outlineOfFrame(frame: Frame): Outline | null {
  let outline = outlines.get(frame);
  if (outline === undefined) {
    const skeleton = readSkeleton(frame);
    outline = skeleton === undefined ? null : outlineOf(markedText(frame), skeleton);
    outlines.set(frame, outline);
  }
  return outline;
}

/** A frame with something in the place of each hole. */
interface Marked {
  readonly text: string;
  /** Holes by where they stand in it. */
  readonly holes: ReadonlyMap<number, number>;
}

/** May be part of a name, and of a version. */
const FILLER = '0';

function markedText(frame: Frame): Marked {
  const holes = new Map<number, number>();
  let text = '';
  for (const part of holesIn(frame)) {
    if (typeof part === 'number') holes.set(text.length, part);
    text += typeof part === 'number' ? FILLER : part;
  }
  return { text, holes };
}

/** Null where it does not start as it should, or a hole that is no part of a name may say what is referred to. */
function outlineOf(marked: Marked, { ofValues, ofStrings }: Skeleton): Outline | null {
  const { text } = marked;
  const started = OPENING.exec(text);
  const [opening = '', type = ''] = started ?? [];
  const idAt = started?.indices?.[2];
  if (idAt === undefined) return null;
  const rest = text.slice(opening.length);
  const versionAt = META.exec(rest)?.indices?.[1];
  if (versionAt === undefined && rest.startsWith(',"meta":')) return null;
  const references = referencesIn(marked);
  if (references === null) return null;
  const id = between(marked, idAt);
  const version = versionAt === undefined ? ['1'] : between(marked, versionAt, opening.length);
  return {
    type,
    id,
    version,
    hasSubject: text.includes(SUBJECT),
    references,
    ofValues,
    ofStrings,
    ofId: holesOf([id]),
    ofNames: holesOf([id, ...references.map(({ name }) => name)]),
    ofVersions: holesOf([version, ...references.map((each) => each.version ?? [])]),
  };
}

function referencesIn(marked: Marked): Outline['references'] | null {
  const found = [...marked.text.matchAll(REFERENCE)];
  const starts = new Set(found.map(({ index }) => index));
  for (const { 0: whole, index } of marked.text.matchAll(ANY_REFERENCE))
    if (!starts.has(index) && between(marked, [index, index + whole.length]).some(isHole)) return null;
  return found.flatMap(({ indices }) => {
    const [, name, version] = indices ?? [];
    if (name === undefined) return [];
    return [{ name: between(marked, name), version: version && between(marked, version) }];
  });
}

type Span = readonly [start: number, end: number];

/** @param offset where the span is counted from */
function between({ text, holes }: Marked, [from, to]: Span, offset = 0): Template {
  const template: (string | number)[] = [];
  let start = from + offset;
  for (let at = start; at < to + offset; at += 1) {
    const hole = holes.get(at);
    if (hole === undefined) continue;
    template.push(text.slice(start, at), hole);
    start = at + FILLER.length;
  }
  template.push(text.slice(start, to + offset));
  return template.filter((part) => part !== '');
}

const isHole = (part: string | number): part is number => typeof part === 'number';
const holesOf = (templates: readonly Template[]): readonly number[] => [
  ...new Set(templates.flat().filter(isHole)),
];

const isName = (hole = ''): boolean => /^[A-Za-z0-9\-.]+$/.test(hole);
const isVersion = (hole = ''): boolean => /^\d+$/.test(hole);

/** Whether the outline shows all that there is to see, filled with these. */
function isAllOf({ ofNames, ofVersions, ofStrings, ofValues }: Outline, holes: readonly string[]): boolean {
  for (const hole of ofNames) if (!isName(holes[hole])) return false;
  for (const hole of ofVersions) if (!isVersion(holes[hole])) return false;
  for (const hole of ofStrings) if (holes[hole]?.includes('"')) return false;
  for (const hole of ofValues) if (saysMore(holes[hole])) return false;
  return true;
}

/** Of a whole value. */
const saysMore = (hole = ''): boolean =>
  hole.includes('":') && (hole.includes(SUBJECT) || hole.search(REFERENCE) !== -1);

function headFrom(outline: Outline, holes: readonly string[]): Head {
  const references: string[] = [];
  const versions: (string | undefined)[] = [];
  for (const { name, version } of outline.references) {
    references.push(filled(name, holes));
    versions.push(version && filled(version, holes));
  }
  const { type, hasSubject } = outline;
  const id = filled(outline.id, holes);
  return { type, id, version: Number(filled(outline.version, holes)), hasSubject, references, versions };
}

const nameFrom = ({ type, id }: Outline, holes: readonly string[]): string => `${type}/${filled(id, holes)}`;

function filled(template: Template, holes: readonly string[]): string {
  let text = '';
  for (const part of template) text += typeof part === 'number' ? holes[part] : part;
  return text;
}
