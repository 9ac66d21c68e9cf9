/**
 * Invented scenarios as a nurse would tell them, a line an entry, and what is posted for them.
 *
 * A line is `HH:MM [sent HH:MM] KIND [WORD VALUE, ...] [-- note]`. Hours count from the start of the story; `sent` says
 * when a late entry was charted. A reading also charts the story's usual words; `not WORD` leaves one out.
 * `HH:MM corrects HH:MM KIND ... -- reason` replaces what that line said.
 */

import { HOUR_MS, MINUTE_MS } from '../domain/numbers/units.ts';
import type { Identifier, Placed } from '../domain/vocabulary/entry.ts';

export interface Story {
  readonly name: string;
  readonly title: string;
  /** Its moments are written as those of the lines. */
  readonly placement: Omit<Placed, 'kind'>;
  readonly usual: string;
  readonly lines: string;
  /** Entries of this stretch go out as one batch, as from a gateway that had lost its network. */
  readonly together: { readonly from: string; readonly to: string } | null;
  /** Key of an entry that is sent a second time, as after a lost answer. */
  readonly resent: string | null;
  /** A line that the service must refuse. */
  readonly refused: string | null;
  /** Rows to show before and after an entry arrives. */
  readonly watched: {
    readonly what: string;
    readonly entry: string;
    readonly rows: readonly string[];
  } | null;
}

/** An entry that is ready to be posted. */
export interface StoryEntry {
  /** `HH:MM KIND`: names it within its story. */
  readonly key: string;
  /** When it is sent, ms after the start of the story. */
  readonly sentMs: number;
  readonly body: Readonly<Record<string, unknown>>;
}

/** All times are charted in one offset, so that the tables read like a ward's. */
export const OFFSET = '+01:00';
const AUTHOR = { type: 'person', reference: 'Practitioner/demo-nurse' };

const FIELDS: Readonly<Record<string, string>> = {
  bubbling: 'suction/bubbling',
  chamber: 'chamber',
  closing: 'closing_level_ml',
  column: 'suction/column_cmh2o',
  'column-set': 'column_cmh2o',
  connections: 'connections_checked',
  dial: 'suction/dial_cmh2o',
  filled: 'seal_filled_cmh2o',
  fluid: 'fluid_character',
  indicator: 'suction/indicator',
  leak: 'air_leak/grade',
  level: 'level_ml',
  opening: 'opening_level_ml',
  ordered: 'suction/ordered_cmh2o',
  'ordered-set': 'ordered_cmh2o',
  phase: 'air_leak/phase',
  profile: 'profile',
  purpose: 'purpose',
  seal: 'seal/level_cmh2o',
  source: 'source',
  suction: 'suction/source',
  'swing-high': 'seal/swing_high_cmh2o',
  'swing-low': 'seal/swing_low_cmh2o',
  tidaling: 'tidaling',
  to: 'new_level_cmh2o',
  volume: 'volume_ml',
  water: 'water',
  weight: 'weight_kg',
  what: 'what',
};

const LINE =
  /^(\d\d:\d\d)(?: sent (\d\d:\d\d))?(?: corrects (\d\d:\d\d))? ([a-z-]+)(?: (.*?))?(?: -- (.*))?$/;

export function placementOf(story: Story, startMs: number): StoryEntry {
  const moments = Object.entries(story.placement).map(([name, value]) => [
    name,
    name.endsWith('_at') ? writeTime(startMs + minutesOf(String(value)) * MINUTE_MS) : value,
  ]);
  const common = {
    identifier: identifierOf(story, 'placed'),
    author: AUTHOR,
    effective_at: writeTime(startMs),
  };
  return { key: 'placed', sentMs: 0, body: { ...common, ...Object.fromEntries(moments) } };
}

export function entriesOf(story: Story, startMs: number): StoryEntry[] {
  const lines = story.lines.split('\n').map((line) => line.trim());
  return lines.filter((line) => line !== '').map((line) => entryOf(story, line, startMs));
}

/** @throws {Error} on a line that does not follow the format: it would tell another story than was meant */
export function entryOf(story: Story, line: string, startMs: number): StoryEntry {
  const [, at, sent, corrected, kind, words, note] = LINE.exec(line) ?? [];
  if (at === undefined || kind === undefined) throw new Error(`no line of a story: ${line}`);
  const place = (time: string) => ({ effective_at: writeTime(startMs + minutesOf(time) * MINUTE_MS) });
  const charted = fieldsOf(kind === 'reading' ? story.usual : '', words ?? '');
  const sentMs = minutesOf(sent ?? at) * MINUTE_MS;
  const common = { author: AUTHOR, ...place(at) };
  if (corrected === undefined) {
    const key = `${at} ${kind}`;
    const said = note === undefined ? {} : { note };
    return {
      key,
      sentMs,
      body: { identifier: identifierOf(story, key), kind, ...common, ...said, ...charted },
    };
  }
  const key = `${at} corrects`;
  const target = identifierOf(story, `${corrected} ${kind}`);
  const replacement = { kind, ...place(corrected), ...charted };
  const identifier = identifierOf(story, key);
  return {
    key,
    sentMs,
    body: { identifier, kind: 'corrected', ...common, target, reason: note, replacement },
  };
}

export function identifierOf(story: Story, key: string): Identifier {
  return { system: 'urn:example:invented-demo', value: `${story.name} ${key}` };
}

function fieldsOf(usual: string, words: string): Record<string, unknown> {
  const values = new Map<string, string>();
  for (const pair of [...usual.split(', '), ...words.split(', ')].filter((text) => text !== '')) {
    const [word = '', value = ''] = pair.split(' ');
    if (word === 'not') values.delete(value);
    else values.set(word, value);
  }
  const fields: Record<string, unknown> = {};
  for (const [word, value] of values) {
    const path = FIELDS[word];
    if (path === undefined) throw new Error(`no word of a story: ${word}`);
    const [outer = '', inner] = path.split('/');
    fields[outer] =
      inner === undefined ? meaningOf(value) : { ...(fields[outer] as object), [inner]: meaningOf(value) };
  }
  return fields;
}

function meaningOf(text: string): string | number | boolean {
  if (text === 'yes') return true;
  return /^-?\d+(\.\d+)?$/.test(text) ? Number(text) : text;
}

function minutesOf(time: string): number {
  const [hours, minutes] = time.replace('-', '').split(':').map(Number);
  return (time.startsWith('-') ? -1 : 1) * ((hours ?? 0) * 60 + (minutes ?? 0));
}

/** RFC 3339 in the offset of the story. */
function writeTime(ms: number): string {
  return `${new Date(ms + HOUR_MS).toISOString().slice(0, 19)}${OFFSET}`;
}
