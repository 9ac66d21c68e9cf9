/** One thing that is wrong with a message: where, what was sent, what is wrong with it, and what to send instead. */
export interface Fault {
  /** JSON pointer (RFC 6901) into the message. */
  readonly pointer: string;
  /** What stands there, as JSON, shortened; undefined when nothing does. */
  readonly value: string | undefined;
  readonly detail: string;
  readonly mend: string;
}

const MOST_SHOWN = 120;

export function shown(value: unknown): string | undefined {
  if (value === undefined) return undefined;
  const text =
    JSON.stringify(value, (_key, inner) => (isDigits(inner) ? Number(inner.text) : inner)) ?? String(value);
  return text.length <= MOST_SHOWN ? text : `${text.slice(0, MOST_SHOWN)}…`;
}

function isDigits(value: unknown): value is { readonly text: string } {
  return typeof value === 'object' && value !== null && 'text' in value && Object.keys(value).length === 1;
}

export function pointerOf(path: readonly PropertyKey[]): string {
  return path.map((step) => `/${String(step).replaceAll('~', '~0').replaceAll('/', '~1')}`).join('');
}
