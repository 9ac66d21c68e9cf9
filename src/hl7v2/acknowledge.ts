/** Acknowledgements: MSA and ERR, in the separators, version and character set of the message they answer (HL7 v2.6, 2.9). */
import { bytesIn, type Charset } from '../intake/hl7v2/charset.ts';
import { type Er7, escaped, type Segment, type Separators } from '../intake/hl7v2/er7.ts';
import { ERROR_CONDITIONS, type Hl7Fault, type Place } from '../intake/hl7v2/fault.ts';
import type { Wanted } from '../intake/hl7v2/header.ts';
import { nameOfText } from '../record/names.ts';

/** HL7 table 0008: of the application, and of the commit alone. */
export type AckCode = 'AA' | 'AE' | 'AR' | 'CA' | 'CE' | 'CR';

export interface Said {
  readonly code: AckCode;
  readonly faults: readonly Hl7Fault[];
  /** Words for people beside the faults. */
  readonly words?: string;
}

/** Of a message that could not be read at all. */
const PLAIN: Separators = { field: '|', component: '^', repetition: '~', escaping: '\\', subcomponent: '&' };

export interface Answered {
  /** Null where not even the header could be read. */
  readonly message: Er7 | null;
  readonly msh: Segment | null;
  readonly charset: Charset;
}

/** Bytes of one acknowledgement. @param now UTC, ms since the epoch */
export function acknowledgement({ message, msh, charset }: Answered, said: Said, now: number): Buffer {
  const separators = message?.separators ?? PLAIN;
  const { field, component, repetition, escaping, subcomponent } = separators;
  const raw = (n: number): string => msh?.fields[n] ?? '';
  const controlId = raw(10);
  const own = nameOfText(`${raw(3)}\n${raw(4)}\n${controlId}\n${said.code}`);
  const type = ['ACK', 'R01', 'ACK'].join(component);
  const header = [
    ...['MSH', `${component}${repetition}${escaping}${subcomponent}`, raw(5), raw(6), raw(3), raw(4)],
    ...[timeText(now), '', type, own, 'P', raw(12) || '2.6', '', '', '', '', '', raw(18)],
  ];
  const trimmed = header.join(field).replace(new RegExp(`\\${field}+$`), '');
  const segments = [
    trimmed,
    ['MSA', said.code, controlId].join(field),
    ...said.faults.map((fault) => errorSegment(fault, separators, said.words)),
  ];
  return bytesIn(`${segments.join('\r')}\r`, charset);
}

/** ERR-2 place, ERR-3 condition, ERR-4 severity, ERR-7 what stands there, ERR-8 words for people. */
function errorSegment(fault: Hl7Fault, separators: Separators, words = ''): string {
  const { field, component } = separators;
  const condition = [String(fault.code), ERROR_CONDITIONS[fault.code], 'HL70357'].join(component);
  const text = `${fault.pointer} ${fault.detail}: ${fault.mend}${words === '' ? '' : `. ${words}`}`;
  const found = fault.value === undefined ? '' : escaped(fault.value, separators);
  const parts = ['ERR', '', placeIn(fault.place, component), condition, 'E', '', '', found];
  return [...parts, escaped(text, separators)].join(field);
}

/** Data type ERL: segment, which one, field, repetition, component. */
const placeIn = ({ segment, sequence, field, component: part }: Place, component: string): string =>
  [segment, sequence, ...(field === undefined ? [] : [field, ...(part === undefined ? [] : [1, part])])].join(
    component,
  );

const timeText = (ms: number): string =>
  `${new Date(ms).toISOString().slice(0, 19).replaceAll(/[-:T]/g, '')}+0000`;

/** Whether an acknowledgement of that outcome is wanted. */
export function isWanted(wanted: Wanted, isSuccess: boolean): boolean {
  return wanted === 'AL' || wanted === (isSuccess ? 'SU' : 'ER');
}
