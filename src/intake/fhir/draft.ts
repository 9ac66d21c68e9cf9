/** An Observation as the native entry that says the same, with the element that each of its fields came from. */
import type { Identifier, Reference } from '../../domain/vocabulary/entry.ts';
import type { FactName } from '../../domain/vocabulary/fact.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { putField } from '../put-field.ts';
import type { RawObservation, ReferenceElement } from './shape.ts';

export const ROOT = 'Observation';

export interface ChartedPart {
  readonly field: readonly string[];
  readonly value: ExactValue;
  readonly path: string;
}

export interface Charted {
  readonly kind: string;
  readonly issued: FactName;
  readonly parts: readonly ChartedPart[];
}

interface Draft {
  readonly native: ExactValue;
  /** The element that a place of the native entry came from. */
  pathTo(pointer: string): string;
}

/** The native entry that says the same, so that one schema judges both. */
export function draftOf(
  observation: RawObservation,
  { system, value }: Identifier,
  { kind, parts }: Charted,
  readOn: Identifier | undefined,
): Draft {
  const [performer] = observation.performer ?? [];
  const when = observation.effectiveDateTime === undefined ? 'effectiveInstant' : 'effectiveDateTime';
  const paths = new Map([
    ['/identifier', `${ROOT}.identifier[0]`],
    ['/device', `${ROOT}.device.identifier`],
    ['/author', performer === undefined ? `${ROOT}.device` : `${ROOT}.performer[0]`],
    ['/effective_at', observation[when] === undefined ? `${ROOT}.effective` : `${ROOT}.${when}`],
    ['/note', `${ROOT}.note`],
  ]);
  const native: Record<string, ExactValue> = { kind, identifier: { system, value } };
  if (readOn !== undefined) native.device = { system: readOn.system, value: readOn.value };
  const author = performer ?? observation.device;
  if (author !== undefined)
    native.author = { type: performer === undefined ? 'device' : 'person', ...plain(author) };
  const effective = observation[when];
  if (effective !== undefined) native.effective_at = effective;
  const notes = observation.note?.map(({ text }) => text) ?? [];
  if (notes.length > 0) native.note = notes.join('\n');
  for (const part of parts) {
    putField(native, part.field, part.value);
    paths.set(`/${part.field.join('/')}`, part.path);
  }
  return { native, pathTo: (pointer) => nearest(paths, pointer) };
}

function nearest(paths: ReadonlyMap<string, string>, pointer: string): string {
  const own = [...paths].find(([start]) => pointer === start || pointer.startsWith(`${start}/`));
  const inner = [...paths].find(([start]) => start.startsWith(`${pointer}/`));
  return own?.[1] ?? inner?.[1] ?? ROOT;
}

/** Without what a reference may carry beside, such as a name to display. */
export function plain({ reference, identifier }: ReferenceElement): Reference {
  return {
    ...(reference === undefined ? {} : { reference }),
    ...(identifier === undefined
      ? {}
      : { identifier: { system: identifier.system, value: identifier.value } }),
  };
}
