/** One OBX: which quantity of a drain it is about, what it says of it, and how. */
import type { MessageMapping, ObservationRow, UnitRow } from '../../domain/vocabulary/message-mapping.ts';
import { RAW_CODES, type RawCode } from '../../fhir/raw-codes.ts';
import { ExactNumber, type ExactValue } from '../../json/exact-json.ts';
import { at, type Er7, partOf, repetitions, type Segment, textAt } from './er7.ts';
import { type ErrorCondition, hl7Fault, Unreadable } from './fault.ts';

/** `lacks`: there is no result, so that one which was told before no longer holds. */
export type Effect = 'says' | 'corrects' | 'withdraws' | 'lacks';

export interface Charted {
  readonly obx: Segment;
  readonly name: string;
  readonly row: RawCode;
  readonly effect: Effect;
  /** Null where nothing is said. */
  readonly value: ExactValue | null;
}

/** HL7 table 0085, observation result status; those that are not here say nothing that could be charted. */
const EFFECTS: Readonly<Record<string, Effect>> = {
  F: 'says',
  P: 'says',
  R: 'says',
  C: 'corrects',
  D: 'withdraws',
  W: 'withdraws',
  X: 'lacks',
};
/** Status of a result that a later one may replace without a correction. */
export const PRELIMINARY = ['P', 'R'];

/** OBX-8 of device data (IHE PCD-01; DEMO from memory): no measurement of the patient. */
const NO_MEASUREMENT = ['INV', 'NAV', 'CAL', 'TEST', 'DEMO'];
/** The same (EARLY from memory): a measurement, but not of just this value, which no entry could say. */
const IN_DOUBT = ['QUES', 'EARLY', '<', '>'];

const NUMBER = /^[+-]?\d+(?:\.\d+)?$/;

/** Null for what is of no concern to a drain. @throws {Unreadable} when it cannot be charted as what it is */
export function chartedIn(er7: Er7, obx: Segment, mapping: MessageMapping): Charted | null {
  const rows = rowsOf(er7, obx, 3, mapping.observations);
  const isBare = textAt(er7, obx, 2) === '' && repetitions(er7, obx, 5).length === 0;
  // A row of the containment tree, which says only what device the others are of.
  if (rows.length === 0 && isBare) return null;
  if (rows.length === 0)
    throw bad(
      obx,
      3,
      103,
      obx.fields[3],
      'is no code of the mapping',
      'add it to observations, to be read or passed over',
    );
  const names = new Set(rows.map(({ reads }) => reads));
  if (names.size > 1)
    throw bad(
      obx,
      3,
      103,
      obx.fields[3],
      'has codes that mean different things',
      'mend the rows of observations',
    );
  const name = rows[0]?.reads ?? null;
  const row = name === null ? undefined : RAW_CODES[name];
  if (name === null || row === undefined) return null;
  const effect = effectOf(er7, obx);
  const isSaid = effect === 'says' || effect === 'corrects';
  return { obx, name, row, effect, value: isSaid ? saidIn(er7, obx, name, row, mapping) : null };
}

const bad = (
  obx: Segment,
  field: number,
  code: ErrorCondition,
  value: string | undefined,
  detail: string,
  mend: string,
): Unreadable => new Unreadable(hl7Fault(at(obx, field), code, value || undefined, detail, mend));

/** Rows of the code and of the alternate code of a field; of each the first, as a facility's own stand before others. */
function rowsOf<T extends ObservationRow | UnitRow>(
  er7: Er7,
  obx: Segment,
  field: number,
  table: readonly T[],
): readonly T[] {
  return [1, 4].flatMap((component) => {
    const code = textAt(er7, obx, field, { component });
    const system = textAt(er7, obx, field, { component: component + 2 });
    return code === '' ? [] : (table.find((row) => row.code === code && row.system === system) ?? []);
  });
}

function effectOf(er7: Er7, obx: Segment): Effect {
  const status = textAt(er7, obx, 11);
  const effect = Object.hasOwn(EFFECTS, status) ? EFFECTS[status] : undefined;
  if (effect === undefined) {
    const mend = `send one of ${Object.keys(EFFECTS).join(', ')}`;
    throw bad(
      obx,
      11,
      status === '' ? 101 : 103,
      status,
      status === '' ? 'is missing' : 'is no status that is read here',
      mend,
    );
  }
  const flags = repetitions(er7, obx, 8).map((each) => partOf(er7, each, {}, at(obx, 8)));
  const isSaid = effect === 'says' || effect === 'corrects';
  if (isSaid && flags.some((flag) => NO_MEASUREMENT.includes(flag))) return 'lacks';
  const doubt = flags.find((flag) => IN_DOUBT.includes(flag));
  if (isSaid && doubt !== undefined)
    throw bad(obx, 8, 103, doubt, 'says that the value is not just this', 'chart by hand what is known');
  return effect;
}

function saidIn(er7: Er7, obx: Segment, name: string, row: RawCode, mapping: MessageMapping): ExactValue {
  const [only = '', ...more] = repetitions(er7, obx, 5);
  if (more.length > 0) throw bad(obx, 5, 102, obx.fields[5], 'has several values', 'send an OBX for each');
  const text = plainText(er7, obx, only).trim();
  if (text === '' || text === '""')
    throw bad(obx, 5, 101, text, 'is missing', 'send a value, or X in OBX-11 where there is none');
  if (row.value === 'text') return text;
  const coded = mapping.values[name]?.[text] ?? text;
  if (row.value === 'code') return coded;
  if (row.value === 'boolean') {
    if (coded === 'true' || coded === 'false') return coded === 'true';
    throw bad(obx, 5, 103, text, 'is neither true nor false', `map it in values.${name}`);
  }
  if (!NUMBER.test(text))
    throw bad(obx, 5, 102, text, 'is no plain number', 'send digits such as 12 or 12.5');
  const number = new ExactNumber(text.replace('+', ''));
  return row.value === 'integer' ? number : { value: number, unit: unitOf(er7, obx, mapping) };
}

/** The digits of a number, the code of a coded value (or its text where it has none), the words of others. */
function plainText(er7: Er7, obx: Segment, repetition: string): string {
  const part = (component: number): string => partOf(er7, repetition, { component }, at(obx, 5));
  switch (textAt(er7, obx, 2)) {
    case 'NM':
    case 'ST':
    case 'TX':
    case 'FT':
    case 'IS':
    case 'ID':
      return part(1);
    case 'CE':
    case 'CF':
    case 'CNE':
    case 'CWE':
      return part(1) || part(2);
    case 'SN':
      if (['', '='].includes(part(1)) && part(3) === '') return part(2);
      throw bad(obx, 5, 102, repetition, 'is no single value', 'chart by hand what is known');
    default:
      throw bad(
        obx,
        2,
        102,
        obx.fields[2],
        'is no type that is read here',
        'send NM, SN, ST, TX, FT, IS, ID, CE, CNE or CWE',
      );
  }
}

/** As UCUM; what the message names so itself is taken at its word, and judged when the value is converted. */
function unitOf(er7: Er7, obx: Segment, mapping: MessageMapping): string {
  const ucum = [1, 4].flatMap((component) =>
    textAt(er7, obx, 6, { component: component + 2 }) === 'UCUM' ? textAt(er7, obx, 6, { component }) : [],
  );
  const units = new Set([...ucum, ...rowsOf(er7, obx, 6, mapping.units).map((row) => row.ucum)]);
  const [unit, ...others] = units;
  if (unit === undefined) {
    const isMissing = textAt(er7, obx, 6) === '';
    const detail = isMissing ? 'is missing' : 'is no unit of the mapping';
    throw bad(
      obx,
      6,
      isMissing ? 101 : 103,
      obx.fields[6],
      detail,
      'send a UCUM code, or add the unit to units',
    );
  }
  if (others.length > 0)
    throw bad(obx, 6, 103, obx.fields[6], 'names different units', 'mend the rows of units');
  return unit;
}
