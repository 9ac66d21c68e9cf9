/** Bytes of a message to text, by the character set that it names (MSH-18, HL7 table 0211). */
import { hl7Fault, Unreadable } from './fault.ts';

export interface Charset {
  readonly name: string;
  readonly encoding: 'ascii' | 'utf-8' | 'latin1';
}

/** The default of the standard where nothing is named. */
export const ASCII: Charset = { name: 'ASCII', encoding: 'ascii' };
const KNOWN: readonly Charset[] = [
  ASCII,
  { name: 'UNICODE UTF-8', encoding: 'utf-8' },
  { name: '8859/1', encoding: 'latin1' },
];

/** One that was read before. */
export const charsetNamed = (name: string): Charset => KNOWN.find((each) => each.name === name) ?? ASCII;

const PLACE = { segment: 'MSH', sequence: 1, field: 18 };

/** What the bytes name: found in the first segment, whose separators are ASCII in all sets that are read. */
export function charsetOf(bytes: Buffer): Charset {
  const [msh = ''] = bytes.toString('latin1').split(/[\r\n]/, 1);
  const field = msh[3] ?? '|';
  const named = msh.split(field)[17] ?? '';
  if (named === '') return ASCII;
  const known = KNOWN.find(({ name }) => name === named);
  if (known !== undefined) return known;
  const names = KNOWN.map(({ name }) => name).join(', ');
  throw new Unreadable(
    hl7Fault(PLACE, 103, named, 'is no character set that is read here', `send one of ${names}`),
  );
}

/** @throws {Unreadable} when the bytes are not of the set: taking them for another would change what was sent */
export function textIn(bytes: Buffer, { name, encoding }: Charset): string {
  if (encoding === 'latin1') return bytes.toString('latin1');
  const isFit = encoding === 'utf-8' || bytes.every((byte) => byte < 0x80);
  if (isFit) {
    try {
      return new TextDecoder('utf-8', { fatal: true, ignoreBOM: true }).decode(bytes);
    } catch {
      // Told below.
    }
  }
  throw new Unreadable(
    hl7Fault(
      PLACE,
      102,
      name,
      'is not the character set of the message',
      'name in MSH-18 the set that is sent',
    ),
  );
}

/** The bytes of an answer in the set of what it answers; what that has no character for becomes a question mark. */
export function bytesIn(text: string, { encoding }: Charset): Buffer {
  if (encoding === 'utf-8') return Buffer.from(text, 'utf8');
  const most = encoding === 'ascii' ? 0x7f : 0xff;
  const fit = [...text].map((each) => ((each.codePointAt(0) ?? 0) > most ? '?' : each)).join('');
  return Buffer.from(fit, 'latin1');
}
