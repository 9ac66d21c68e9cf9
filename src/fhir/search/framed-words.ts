/** How words are read off what fills a frame: what its fixed text says of them is worked out once. */
import { type Filling, isHole, isOpen, partsOf, textReader } from '../../json/skeleton.ts';
import { isJson, textOrNull, wordsOf } from './extract.ts';
import type { SearchParameter } from './resource-type.ts';
import { isOneValue, makerOf, type Spot } from './spots.ts';
import { ID, identifierOf, kindOf, split, unversioned, VERSIONED, type Word, wordOf } from './word.ts';

/** Adds what is said to a list. */
export type ReadWords = (filling: Filling, into: Word[]) => void;
type ReadWord = (filling: Filling) => Word;

/** The id of a resource; undefined where it is not known to be a string. */
export function idReader(node: unknown): ReadWords | undefined {
  const read = textWord(ID, '', node);
  if (read === undefined) return undefined;
  return (filling, into) => {
    into.push(read(filling));
  };
}

/** What a parameter finds at a spot, as wordsOf finds it in the value. */
export function wordsReader(parameter: SearchParameter): (spot: Spot) => ReadWords {
  const madeAt = makerOf((values) => values.flatMap((value) => wordsOf(parameter, value)));
  return (spot) => {
    const templates = isOneValue(spot) ? templatesOf(parameter, spot.node) : undefined;
    if (templates !== undefined)
      return (filling, into) => {
        for (const read of templates) into.push(read(filling));
      };
    const made = madeAt([spot]);
    return (filling, into) => {
      for (const word of made(filling)) into.push(word);
    };
  };
}

/** One for each word; undefined where what fills the frame decides how many there are. */
function templatesOf(parameter: SearchParameter, node: unknown): readonly ReadWord[] | undefined {
  if (!isOpen(node)) return wordsOf(parameter, node).map((word) => () => word);
  if (!isJson(node) || isHole(node) || partsOf(node) !== undefined) return undefined;
  const { name, kind } = parameter;
  if (kind === 'token') return identifierTemplates(name, node);
  if (kind !== 'reference') return undefined;
  const target = node.reference === undefined ? [] : listed(textWord(name, '', node.reference, unversioned));
  const named = node.identifier === undefined ? [] : identifierTemplates(identifierOf(name), node.identifier);
  return target === undefined || named === undefined ? undefined : [...target, ...named];
}

function identifierTemplates(parameter: string, node: unknown): readonly ReadWord[] | undefined {
  if (!isJson(node) || isHole(node) || partsOf(node) !== undefined || isOpen(node.system)) return undefined;
  return listed(textWord(parameter, textOrNull(node.system), node.value));
}

const listed = (read: ReadWord | undefined): readonly ReadWord[] | undefined =>
  read === undefined ? undefined : [read];

/**
 * @param meant what of its text is meant
 * @returns undefined where it is no string, or only a hole says whether it is one
 */
function textWord(
  parameter: string,
  system: string | null,
  node: unknown,
  meant: (text: string) => string = (text) => text,
): ReadWord | undefined {
  if (typeof node === 'string') {
    const word = wordOf(parameter, system, meant(node));
    return () => word;
  }
  const parts = partsOf(node);
  if (parts === undefined) return undefined;
  const [opening = ''] = parts;
  const [head, rest] = split(String(opening));
  if (typeof opening !== 'string' || head === '' || head.includes(VERSIONED)) {
    // Where the first dot is, if there is one, what fills the frame says.
    const readText = textReader(parts);
    return (filling) => wordOf(parameter, system, meant(readText(filling)));
  }
  const kind = kindOf(parameter, system, head);
  const readStem = stemReader([rest, ...parts.slice(1)]);
  return (filling) => ({ kind, stem: meant(readStem(filling)) });
}

/** By what they are made of. What is fixed after a first dot is little more than another one, so there are few. */
const stemReaders = new Map<string, (filling: Filling) => string>();

/** All that one entry issues says few stems in many places: each is one string for as long as the same fills it. */
function stemReader(parts: readonly (string | number)[]): (filling: Filling) => string {
  const key = JSON.stringify(parts);
  const reader = stemReaders.get(key) ?? remembering(parts);
  stemReaders.set(key, reader);
  return reader;
}

function remembering(parts: readonly (string | number)[]): (filling: Filling) => string {
  const read = textReader(parts);
  const holes = parts.filter((part) => typeof part === 'number');
  let texts: readonly (string | undefined)[] = [];
  let latest = '';
  return (filling) => {
    if (holes.some((hole, i) => filling.texts[hole] !== texts[i])) {
      texts = holes.map((hole) => filling.texts[hole]);
      latest = read(filling);
    }
    return latest;
  };
}
