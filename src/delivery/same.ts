/** Whether a target holds what we issued. */
import { ExactNumber, parseExactJson } from '../json/exact-json.ts';

const OF_THE_SERVER = new Set(['id', 'meta', 'text']);

/**
 * Whether all that we say stands there too. A server may add to a resource and write numbers in its own way; it may not
 * have left anything out. Id, meta and narrative are the server's own.
 * @param theirs text of a resource; what cannot be read is not the same
 */
export const isSame = (ours: string, theirs: string): boolean => isAllThere(ours, theirs, () => false);

/** The same, whatever it refers to: which version of its own a target refers to changes with the time of sending. */
export const isSameButForReferences = (ours: string, theirs: string): boolean =>
  isAllThere(ours, theirs, (value) => 'reference' in value || ('identifier' in value && 'type' in value));

/** @param isLeft objects of ours that are not compared */
function isAllThere(ours: string, theirs: string, isLeft: (value: object) => boolean): boolean {
  const [mine, found] = [readObject(ours), readObject(theirs)];
  if (mine === null || found === null) return false;
  return Object.entries(mine).every(
    ([key, value]) => OF_THE_SERVER.has(key) || isWithin(value, found[key], isLeft),
  );
}

function readObject(text: string): Record<string, unknown> | null {
  try {
    const value = parseExactJson(text);
    return typeof value === 'object' && value !== null && !Array.isArray(value)
      ? (value as Record<string, unknown>)
      : null;
  } catch {
    return null;
  }
}

function isWithin(mine: unknown, found: unknown, isLeft: (value: object) => boolean): boolean {
  if (mine instanceof ExactNumber) return found instanceof ExactNumber && isEqual(mine.text, found.text);
  if (Array.isArray(mine))
    return (
      Array.isArray(found) &&
      found.length === mine.length &&
      mine.every((each, i) => isWithin(each, found[i], isLeft))
    );
  if (typeof mine !== 'object' || mine === null) return mine === found;
  if (isLeft(mine)) return true;
  if (typeof found !== 'object' || found === null) return false;
  return Object.entries(mine).every(([key, value]) =>
    isWithin(value, (found as Record<string, unknown>)[key], isLeft),
  );
}

/** Numbers of at most some ten digits, so that a double tells them apart. */
const isEqual = (mine: string, found: string): boolean => Number(mine) === Number(found);
