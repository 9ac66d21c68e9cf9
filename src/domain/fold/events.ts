/** What a statement that counts changes of the state of its drain, its levels aside. */

import { append } from '../numbers/history.ts';
import { microlitres } from '../numbers/units.ts';
import type { Reading } from '../vocabulary/entry.ts';
import type { Item } from './chains.ts';
import type { Circumstances } from './circumstances.ts';
import { conditionsAfter } from './conditions-held.ts';
import { setClamp } from './drainage.ts';
import { type MarkBook, mark } from './marks.ts';
import type { FoldState } from './state.ts';
import { appendFlow } from './sums.ts';

export function takeEvent(
  before: FoldState,
  item: Item,
  marks: MarkBook,
  circumstances: Circumstances,
): FoldState {
  const { content, at } = item;
  const conditions = conditionsAfter(before.conditions, item);
  const state = conditions === before.conditions ? before : { ...before, conditions };
  switch (content.kind) {
    case 'placed':
    case 'drain-updated':
      return content.encounter === undefined ? state : { ...state, encounter: content.encounter };
    case 'reading':
      return takeReading(state, item, content, marks, circumstances);
    case 'clamped':
    case 'unclamped':
      return { ...state, chamber: setClamp(state.chamber, content.kind === 'clamped', at) };
    case 'instilled':
    case 'sampled':
      return withFlow(state, item, content.kind, content.volume_ml.thousandths);
    case 'reviewed':
      return { ...state, reviews: append(state.reviews, item) };
    default:
      return state;
  }
}

function takeReading(
  state: FoldState,
  item: Item,
  { clamped, fluid_character: character, level_ml }: Reading,
  marks: MarkBook,
  { settings }: Circumstances,
): FoldState {
  const { at } = item;
  const level = level_ml?.thousandths;
  if (level === undefined && clamped === undefined && character === undefined) return state;
  const last = state.lastReading;
  const again = last !== null && last.level === level && at - last.at <= settings.double_entry_ms;
  if (again && item.author.type === 'person') mark(marks, item.id, 'possible-double-entry');
  // Field by field: one is made at every reading, and to spread it takes twenty times as long.
  return {
    chamber: clamped === undefined ? state.chamber : setClamp(state.chamber, clamped, at),
    conditions: state.conditions,
    encounter: state.encounter,
    intervals: state.intervals,
    flows: state.flows,
    fluids: character === undefined ? state.fluids : append(state.fluids, { at, character }),
    reviews: state.reviews,
    measuredFrom: state.measuredFrom,
    incomplete: state.incomplete,
    sinceReading: state.sinceReading,
    lastReading: level === undefined ? last : { at, level },
  };
}

function withFlow(
  state: FoldState,
  { id, at }: Item,
  kind: 'instilled' | 'sampled',
  volume: number,
): FoldState {
  const sampled = microlitres(kind === 'sampled' ? volume : 0);
  const instilled = microlitres(kind === 'instilled' ? volume : 0);
  const { chamber } = state;
  return {
    ...state,
    flows: appendFlow(state.flows, { id, at, sampled, instilled }),
    chamber: {
      ...chamber,
      sampled: microlitres(chamber.sampled + sampled),
      instilled: microlitres(chamber.instilled + instilled),
    },
  };
}
