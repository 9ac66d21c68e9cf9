/**
 * A strict JSON reader that keeps the digits of every number and refuses what `JSON.parse` lets pass.
 *
 * Why our own: a reading of `2.0` mL must stay `2.0` in the record (FHIR R4 json.html#decimal), Node 20 has no
 * `context.source` in revivers, and a duplicate key must be refused, not silently won by its last value.
 */

/** A JSON number exactly as written. */
export class ExactNumber {
  readonly text: string;
  constructor(text: string) {
    this.text = text;
  }
}

export type ExactValue = null | boolean | string | object;

/** Text that is not acceptable JSON: what is wrong (the message), with what, where, and what to send instead. */
export class ExactJsonError extends Error {
  readonly found: string;
  readonly mend: string;
  /** Keys and indexes that lead to the place. */
  readonly path: readonly (string | number)[];
  constructor(r: Pick<Reader, 'path'>, detail: string, found: string, mend: string) {
    super(detail);
    this.found = found;
    this.mend = mend;
    this.path = [...r.path];
  }
}

const MAX_DEPTH = 32;
const NUMBER = /-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?/y;
const MORE_OF_A_NUMBER = /[0-9.eE+-]/;
const WRITTEN_AS_NUMBER = /[0-9.eE+-]{1,40}/y;
// biome-ignore lint/suspicious/noControlCharactersInRegex: JSON forbids raw control characters in strings
const STRING = /"(?:[^"\\\u0000-\u001f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"/y;

/**
 * Reads one JSON value.
 * @param numberOf makes the value that stands for a number from its digits; default {@link ExactNumber}
 * @throws {ExactJsonError} on bad syntax, a duplicate or reserved key, nesting over 32, NUL or a lone surrogate
 */
export function parseExactJson(
  text: string,
  numberOf: (digits: string) => object = (digits) => new ExactNumber(digits),
): ExactValue {
  const reader: Reader = { text, at: 0, depth: 0, path: [], numberOf };
  const value = readValue(reader);
  skipSpace(reader);
  if (reader.at < text.length) throw unexpected(reader, 'the end of the text');
  return value;
}

interface Reader {
  readonly text: string;
  readonly numberOf: (digits: string) => object;
  readonly path: (string | number)[];
  at: number;
  depth: number;
}

function readValue(r: Reader): ExactValue {
  skipSpace(r);
  switch (r.text[r.at]) {
    case '{':
      return nested(r, readObject);
    case '[':
      return nested(r, readArray);
    case '"':
      return readString(r);
    case 't':
      return readWord(r, 'true', true);
    case 'f':
      return readWord(r, 'false', false);
    case 'n':
      return readWord(r, 'null', null);
    default:
      return r.numberOf(readNumber(r));
  }
}

function readNumber(r: Reader): string {
  const start = r.at;
  const digits = match(r, NUMBER, 'a value');
  if (!MORE_OF_A_NUMBER.test(r.text.charAt(r.at))) return digits;
  WRITTEN_AS_NUMBER.lastIndex = start;
  const written = WRITTEN_AS_NUMBER.exec(r.text)?.[0] ?? digits;
  throw new ExactJsonError(r, 'is not as JSON writes numbers', written, 'send digits such as 1, 0.5 or 1.0');
}

function nested<T>(r: Reader, read: (r: Reader) => T): T {
  r.depth += 1;
  if (r.depth > MAX_DEPTH) {
    throw new ExactJsonError(
      r,
      `is nested deeper than ${MAX_DEPTH} levels`,
      r.text.charAt(r.at),
      'nest less',
    );
  }
  const value = read(r);
  r.depth -= 1;
  return value;
}

function readObject(r: Reader): Record<string, ExactValue> {
  const object: Record<string, ExactValue> = {};
  r.at += 1;
  if (closes(r, '}')) return object;
  for (;;) {
    skipSpace(r);
    const key = readKey(r);
    r.path.push(key);
    if (key === '__proto__') throw new ExactJsonError(r, 'is no allowed key', key, 'remove it');
    if (Object.hasOwn(object, key))
      throw new ExactJsonError(r, 'is a key that stands twice', key, 'send it once');
    skipSpace(r);
    expect(r, ':');
    object[key] = readValue(r);
    r.path.pop();
    if (closes(r, '}')) return object;
    expect(r, ',');
  }
}

function readArray(r: Reader): ExactValue[] {
  const array: ExactValue[] = [];
  r.at += 1;
  if (closes(r, ']')) return array;
  for (;;) {
    r.path.push(array.length);
    array.push(readValue(r));
    r.path.pop();
    if (closes(r, ']')) return array;
    expect(r, ',');
  }
}

function readKey(r: Reader): string {
  const end = endOfPlain(r);
  if (end === undefined) return readString(r);
  const key = r.text.slice(r.at + 1, end);
  r.at = end + 1;
  return key;
}

/** Where the quote stands that closes a string in which every character stands for itself; undefined for any other. */
function endOfPlain({ text, at }: Reader): number | undefined {
  if (text.charCodeAt(at) !== QUOTE) return undefined;
  for (let end = at + 1; end < text.length; end += 1) {
    const code = text.charCodeAt(end);
    if (code === QUOTE) return end;
    if (code === BACKSLASH || code < SPACE || (code >= FIRST_SURROGATE && code <= LAST_SURROGATE))
      return undefined;
  }
  return undefined;
}

const QUOTE = 0x22;
const BACKSLASH = 0x5c;
const SPACE = 0x20;
const FIRST_SURROGATE = 0xd800;
const LAST_SURROGATE = 0xdfff;

function readString(r: Reader): string {
  const end = endOfPlain(r);
  if (end !== undefined) {
    const raw = r.text.slice(r.at, end + 1);
    r.at = end + 1;
    return JSON.parse(raw);
  }
  const raw = match(r, STRING, 'a quoted string');
  // Not cut out of the text, which a string kept in memory would then hold whole.
  const value: string = JSON.parse(raw);
  if (!value.isWellFormed()) {
    throw new ExactJsonError(r, 'holds half of a surrogate pair', raw, 'send whole characters');
  }
  if (value.includes('\u0000'))
    throw new ExactJsonError(r, 'holds the NUL character', raw, 'send it without');
  return value;
}

function readWord<T>(r: Reader, word: string, value: T): T {
  if (!r.text.startsWith(word, r.at)) throw unexpected(r, 'a value');
  r.at += word.length;
  return value;
}

function closes(r: Reader, bracket: string): boolean {
  skipSpace(r);
  if (r.text[r.at] !== bracket) return false;
  r.at += 1;
  return true;
}

function expect(r: Reader, character: string): void {
  if (r.text[r.at] !== character) throw unexpected(r, `'${character}'`);
  r.at += 1;
}

function skipSpace(r: Reader): void {
  while (isSpace(r.text.charCodeAt(r.at))) r.at += 1;
}

/** A space, tab, line feed or carriage return. */
const isSpace = (code: number): boolean => code === 0x20 || code === 0x09 || code === 0x0a || code === 0x0d;

function match(r: Reader, pattern: RegExp, wanted: string): string {
  pattern.lastIndex = r.at;
  const found = pattern.exec(r.text)?.[0];
  if (found === undefined) throw unexpected(r, wanted);
  r.at += found.length;
  return found;
}

function unexpected(r: Reader, wanted: string): ExactJsonError {
  const found = r.at < r.text.length ? r.text.slice(r.at, r.at + 20) : 'the end of the text';
  const detail = `is no JSON at position ${r.at}, where ${wanted} is expected`;
  return new ExactJsonError(r, detail, found, 'send JSON by RFC 8259; NaN, Infinity, +1 and .5 are none');
}
