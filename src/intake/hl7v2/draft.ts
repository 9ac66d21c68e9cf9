/** A group as the native entry that says the same, with the place that each of its fields came from. */
import type { Author, Identifier } from '../../domain/vocabulary/entry.ts';
import type { MessageMapping } from '../../domain/vocabulary/message-mapping.ts';
import { writeCanonical } from '../../json/canonical.ts';
import { ExactNumber, type ExactValue } from '../../json/exact-json.ts';
import { putField } from '../put-field.ts';
import { at, type Er7, type Segment, textAt } from './er7.ts';
import type { Place } from './fault.ts';
import { type Group, type Member, utcOf, type Whose } from './groups.ts';
import { headerOf } from './header.ts';

export interface Draft {
  readonly native: ExactValue;
  readonly identifier: Identifier;
  readonly change: Identifier;
  readonly author: Author;
  readonly request: string;
  readonly source: string;
  placeOf(pointer: string): Place;
}

export function draftOf(er7: Er7, group: Group, { system }: MessageMapping): Draft {
  const { kind, of, order, orderNumber, when, members } = group;
  const [msh] = er7.segments;
  const [first] = members;
  if (msh === undefined || first === undefined) throw new Error('a group has a header and a member');
  const { sender, controlId } = headerOf(er7, msh);
  const identifier = { system, value: [sender, orderNumber, wordOf(of), kind, utcOf(when)].join('/') };
  const { author } = first;
  const note = notesOf(er7, members);
  const native: Record<string, ExactValue> = {
    kind,
    identifier,
    author,
    effective_at: when,
    ...('device' in of ? { device: { ...of.device } } : {}),
    ...(note === '' ? {} : { note }),
  };
  for (const { row, value } of members) if (value !== null) putField(native, row.field, value);
  const changes = members.flatMap(({ effect, name }) => (effect === 'says' ? [] : [[name, effect]]));
  return {
    native,
    identifier,
    author,
    change: { system, value: `${identifier.value}/${controlId}` },
    request: writeCanonical({ ...native, changes }, (value) =>
      value instanceof ExactNumber ? value.text : undefined,
    ),
    source: sourceOf(msh, order, members),
    placeOf: placeFinder(group, first),
  };
}

/** Where in the message what stands at a pointer of the native entry came from. */
function placeFinder({ order, whenPlace, members }: Group, first: Member): Draft['placeOf'] {
  const places = new Map<string, Place>([
    ['/identifier', at(order, 3)],
    ['/author', at(first.obx, first.author.type === 'person' ? 16 : 18)],
    ['/effective_at', whenPlace],
    ['/device', at(first.obx, 18)],
    ...members.map(({ obx, row }) => [`/${row.field.join('/')}`, at(obx, 5)] as const),
  ]);
  return (pointer) =>
    [...places].find(([start]) => pointer === start || pointer.startsWith(`${start}/`))?.[1] ??
    at(first.obx, 5);
}

/** A device may be called as a drain is. */
const wordOf = (of: Whose): string => ('drain' in of ? of.drain.value : `device/${of.device.value}`);

/** Words of NTE-3 to the order and to its results. */
function notesOf(er7: Er7, members: readonly Member[]): string {
  const notes = new Set(members.flatMap(({ observed }) => observed.notes));
  return [...notes]
    .map((note) => textAt(er7, note, 3))
    .filter((words) => words !== '')
    .join('\n');
}

function sourceOf(msh: Segment, order: Segment, members: readonly Member[]): string {
  const segments = [msh, order, ...members.map(({ obx }) => obx)];
  return segments.map(({ text }) => `${text}\r`).join('');
}
