/** One thing that is wrong with a message: where, what was sent, what is wrong with it, and what to send instead. */
import { writeCanonical } from '../json/canonical.ts';
import { ExactNumber } from '../json/exact-json.ts';

export interface Fault {
  /** JSON pointer (RFC 6901) into the message; `?name` for a query parameter, a header by its name. */
  readonly pointer: string;
  /** What stands there, as JSON, shortened; undefined when nothing does. */
  readonly value: string | undefined;
  readonly detail: string;
  readonly mend: string;
}

/** A fault in one sentence, for people. */
export const faultText = ({ pointer, value, detail, mend }: Fault): string =>
  `${pointer}${value === undefined ? '' : ` ${value}`} ${detail}: ${mend}`;

const MOST_SHOWN = 120;

export function shown(value: unknown): string | undefined {
  if (value === undefined) return undefined;
  return shortened(writeCanonical(value, (inner) => (inner instanceof ExactNumber ? inner.text : undefined)));
}

/** Cut text must not end in half of a surrogate pair. */
export function shortened(text: string): string {
  return text.length <= MOST_SHOWN ? text : `${text.slice(0, MOST_SHOWN).toWellFormed()}…`;
}

export function pointerOf(path: readonly PropertyKey[]): string {
  return path.map((step) => `/${String(step).replaceAll('~', '~0').replaceAll('/', '~1')}`).join('');
}
