/**
 * The encoding rules of HL7 v2 (chapter 2 of the standard, "ER7"): segments, fields, repetitions, components,
 * subcomponents and escapes, with the separators that a message names itself.
 *
 * Why our own: of the libraries that could be had, those kept up need Node 22 or cannot be installed whole, and the rest
 * drop escapes that they do not know. Here what cannot be read is a fault, and every digit stays as it was sent.
 */
import { hl7Fault, type Place, Unreadable } from './fault.ts';

export interface Separators {
  readonly field: string;
  readonly component: string;
  readonly repetition: string;
  readonly escaping: string;
  readonly subcomponent: string;
}

export interface Segment {
  readonly name: string;
  /** Which of the segments of that name, from 1. */
  readonly sequence: number;
  /** As they stand in the message; the index is that of the standard, so that MSH-1 is the separator itself. */
  readonly fields: readonly string[];
  /** The whole segment as it was sent. */
  readonly text: string;
}

export interface Er7 {
  readonly separators: Separators;
  readonly segments: readonly Segment[];
  /** Bytes of a hexadecimal escape to text, in the character set of the message. */
  readonly decode: (bytes: Buffer) => string;
}

export const at = ({ name, sequence }: Segment, field: number): Place => ({ segment: name, sequence, field });

/** What a field says first; '' also where it says that it holds nothing (HL7 v2.6, 2.5.3.2: two double quotes). */
export function nameAt(er7: Er7, segment: Segment, field: number): string {
  const text = textAt(er7, segment, field);
  return text === '""' ? '' : text;
}

/** Where in a field. */
export interface Within {
  readonly component?: number;
  readonly subcomponent?: number;
}

const SEGMENT = /^[A-Z][A-Z0-9]{2}$/;
// biome-ignore lint/suspicious/noControlCharactersInRegex: those that are refused
const CONTROL = /[\0-\x08\n-\x1f\x7f]/;
const END_SEGMENTS = 'end each segment with a carriage return, and escape what cannot be displayed';
const MSH: Place = { segment: 'MSH', sequence: 1 };

/** @throws {Unreadable} when it is no message */
export function parseEr7(text: string, decode: Er7['decode']): Er7 {
  const separators = separatorsOf(text);
  const seen = new Map<string, number>();
  // A line feed after a carriage return is no data: many senders add one.
  const texts = text.split(/\r\n?/);
  while (texts.at(-1) === '') texts.pop();
  const segments = texts.map((each): Segment => {
    const [name = '', ...rest] = each.split(separators.field);
    const sequence = (seen.get(name) ?? 0) + 1;
    if (!SEGMENT.test(name))
      throw new Unreadable(hl7Fault(MSH, 100, name, 'is no name of a segment', END_SEGMENTS));
    refuseStray({ segment: name, sequence }, each);
    seen.set(name, sequence);
    const fields = name === 'MSH' ? [name, separators.field, ...rest] : [name, ...rest];
    return { name, sequence, fields, text: each };
  });
  return { separators, segments, decode };
}

/**
 * Data is displayable (HL7 v2.6, 2.5.3): segments that end with line feeds alone would all be data of the first, and a
 * second message in the place of one would be taken under the header of the first.
 */
function refuseStray(place: Place, text: string): void {
  const [control] = CONTROL.exec(text) ?? [];
  if (control !== undefined)
    throw new Unreadable(hl7Fault(place, 102, control, 'is a character that is no data', END_SEGMENTS));
  if (place.segment === 'MSH' && place.sequence > 1)
    throw new Unreadable(
      hl7Fault(place, 100, undefined, 'begins another message', 'send each message by itself'),
    );
}

/** MSH-1 and MSH-2: the fifth of MSH-2, which marks truncation since v2.7, means nothing here. */
function separatorsOf(text: string): Separators {
  const field = text[3] ?? '';
  const encoding = text.slice(4, text.indexOf(field, 4) < 0 ? undefined : text.indexOf(field, 4));
  const [component = '', repetition = '', escaping = '', subcomponent = ''] = encoding;
  const all = [field, ...encoding];
  const areFit = all.every((each) => /^[!-/:-@[-`{-~]$/.test(each)) && new Set(all).size === all.length;
  if (text.startsWith('MSH') && areFit && (encoding.length === 4 || encoding.length === 5))
    return { field, component, repetition, escaping, subcomponent };
  throw new Unreadable(
    hl7Fault(
      { ...MSH, field: 2 },
      102,
      text.slice(0, 9),
      'is no beginning of a message',
      'begin with MSH and five different separators, such as MSH|^~\\&|',
    ),
  );
}

/** Repetitions of a field as they stand there; none of an empty one. */
export function repetitions({ separators }: Er7, { fields }: Segment, field: number): readonly string[] {
  const text = fields[field] ?? '';
  return text === '' ? [] : text.split(separators.repetition);
}

/** What a part of a repetition says; '' where it says nothing. @throws {Unreadable} for an escape that is not known */
export function partOf(er7: Er7, repetition: string, within: Within, place: Place): string {
  const { component, subcomponent } = er7.separators;
  const found = repetition.split(component)[(within.component ?? 1) - 1] ?? '';
  const inner = found.split(subcomponent)[(within.subcomponent ?? 1) - 1] ?? '';
  return unescaped(er7, inner, place);
}

/** What a part of the first repetition of a field says. @throws {Unreadable} for an escape that is not known */
export function textAt(er7: Er7, segment: Segment, field: number, within: Within = {}): string {
  const { name, sequence } = segment;
  const place = { segment: name, sequence, field, ...(within.component === undefined ? {} : within) };
  return partOf(er7, repetitions(er7, segment, field)[0] ?? '', within, place);
}

/** HL7 v2.6, 2.7.1 to 2.7.6: separators by letter, bytes in hexadecimal, highlighting, and breaks of formatted text. */
function unescaped({ separators, decode }: Er7, text: string, place: Place): string {
  const { escaping } = separators;
  if (!text.includes(escaping)) return text;
  const pieces = text.split(escaping);
  const bad = (detail: string): Unreadable =>
    new Unreadable(
      hl7Fault(place, 102, text, detail, `send an escape of the standard, closed by ${escaping}`),
    );
  // Text and escapes take turns: an even number of pieces has one that is not closed.
  if (pieces.length % 2 === 0) throw bad('has an escape that is not closed');
  return pieces
    .map((piece, n) => {
      if (n % 2 === 0) return piece;
      const said = meaningOf(piece, separators, decode);
      if (said === undefined) throw bad(`has the escape ${escaping}${piece}${escaping}, which is not known`);
      return said;
    })
    .join('');
}

function meaningOf(
  piece: string,
  { field, component, repetition, escaping, subcomponent }: Separators,
  decode: Er7['decode'],
): string | undefined {
  if (/^X(?:[0-9A-Fa-f]{2})+$/.test(piece)) return decode(Buffer.from(piece.slice(1), 'hex'));
  const letters = { F: field, S: component, T: subcomponent, R: repetition, E: escaping };
  // Highlighting changes how text looks, not what it says.
  const known: Readonly<Record<string, string>> = { ...letters, H: '', N: '', '.br': '\n', '.sp': '\n' };
  return Object.hasOwn(known, piece) ? known[piece] : undefined;
}

/** Text with what the separators would be taken for, escaped; line ends become blanks, as a segment ends at one. */
export function escaped(
  text: string,
  { field, component, repetition, escaping, subcomponent }: Separators,
): string {
  const letters = new Map([
    [escaping, 'E'],
    [field, 'F'],
    [component, 'S'],
    [repetition, 'R'],
    [subcomponent, 'T'],
  ]);
  // biome-ignore lint/suspicious/noControlCharactersInRegex: those that end segments and frames
  return [...text.replaceAll(/[\r\n\v\u001c]+/g, ' ')]
    .map((each) => (letters.has(each) ? `${escaping}${letters.get(each)}${escaping}` : each))
    .join('');
}
