/** The facts that a statement charts as they are: no arithmetic here. */

import type { Row } from '../fold/row.ts';
import type { Decimal } from '../numbers/decimal.ts';
import type { Reading, SetUp, UnitChanged } from '../vocabulary/entry.ts';
import type { Fact, FactName, FactValue, Flag } from '../vocabulary/fact.ts';

/** In the order in which a reader meets them; a reading's own grouping comes last. */
export function chartedFacts(row: Row): Fact[] {
  const { content } = row.item;
  switch (content.kind) {
    case 'reading':
      return readingFacts(row, content);
    case 'set-up':
      return setUpFacts(row, content);
    case 'unit-changed':
      return [
        unitFact(row, content),
        ...quantities(row, [
          ['closing-level', content.closing_level_ml],
          ['opening-level', content.opening_level_ml],
        ]),
      ];
    case 'level-rebased':
      return quantities(row, [
        ['closing-level', content.last_trusted_level_ml],
        ['opening-level', content.new_level_ml],
      ]);
    case 'suction-changed':
      return quantities(row, [
        ['imposed-suction', content.column_cmh2o ?? content.dial_cmh2o],
        ['ordered-suction', content.ordered_cmh2o],
      ]);
    case 'instilled':
      return quantities(row, [['instilled-volume', content.volume_ml]]);
    case 'sampled':
      return quantities(row, [['sampled-volume', content.volume_ml]]);
    case 'weighed':
      return quantities(row, [['body-weight', content.weight_kg]]);
    default:
      return [];
  }
}

function readingFacts(row: Row, reading: Reading): Fact[] {
  const { suction, seal, air_leak: leak } = reading;
  const facts = [
    ...quantities(row, [
      ['level', reading.level_ml],
      ['imposed-suction', suction?.column_cmh2o ?? suction?.dial_cmh2o],
      ['ordered-suction', suction?.ordered_cmh2o],
      ['seal-level', seal?.level_cmh2o],
      ['measured-pressure', reading.pressure_cmh2o],
      ['air-leak-flow', leak?.flow_ml_min],
    ]),
    ...codes(row, [
      ['air-leak-grade', leak?.grade === undefined ? undefined : String(leak.grade.thousandths / 1000)],
      ['air-leak-phase', leak?.phase],
      ['tidaling', reading.tidaling],
      ['fluid-character', reading.fluid_character],
    ]),
  ];
  if (reading.fluid_colour !== undefined) {
    facts.push(charted(row, 'fluid-colour', { text: reading.fluid_colour }));
  }
  if (facts.length === 0) return facts;
  const members = facts.map(({ name, anchor }) => ({ name, anchor }));
  return [...facts, { ...charted(row, 'reading', { grouping: true }), members }];
}

function setUpFacts(row: Row, setUp: SetUp): Fact[] {
  const { suction } = setUp;
  return [
    unitFact(row, setUp),
    ...quantities(row, [
      ['opening-level', setUp.opening_level_ml],
      ['seal-level', setUp.seal_filled_cmh2o],
      ['imposed-suction', suction?.column_cmh2o ?? suction?.dial_cmh2o],
      ['ordered-suction', suction?.ordered_cmh2o],
    ]),
  ];
}

/** The unit itself. It says nothing of an encounter or of who attached it, so those cannot change it. */
function unitFact(row: Row, { unit_profile: unit, unit_serial: serial }: SetUp | UnitChanged): Fact {
  return {
    ...charted(row, 'collection-unit', { unit, serial: serial ?? null }),
    author: null,
    encounter: null,
  };
}

function quantities(row: Row, charts: readonly (readonly [FactName, Decimal | undefined])[]): Fact[] {
  return charts.flatMap(([name, value]) =>
    value === undefined ? [] : charted(row, name, { quantity: value.text }),
  );
}

function codes(row: Row, charts: readonly (readonly [FactName, string | undefined])[]): Fact[] {
  return charts.flatMap(([name, code]) => (code === undefined ? [] : charted(row, name, { code })));
}

function charted(row: Row, name: FactName, value: FactValue): Fact {
  const { item, encounter } = row;
  const unit = unitShowing(row, name);
  return {
    name,
    anchor: item.id,
    effective: { at: item.content.effective_at },
    value,
    components: NONE,
    flags: isLeftOut(row, name) ? LEFT_OUT : NONE,
    derived_from: NONE,
    members: NONE,
    author: item.author,
    encounter,
    note: name === 'reading' ? (item.content.note ?? null) : null,
    ...(unit === null ? {} : { read_off: { name: 'collection-unit', anchor: unit } }),
    ...(item.received_as === name ? { identifier: item.identifier } : {}),
  };
}

const SHOWN_BY_UNIT: ReadonlySet<FactName> = new Set([
  'level',
  'opening-level',
  'closing-level',
  'imposed-suction',
  'seal-level',
  'measured-pressure',
  'air-leak-grade',
  'air-leak-phase',
  'air-leak-flow',
  'tidaling',
]);

/** The entry that attached the unit on which this was read; of a unit change the closing level is the old one's. */
function unitShowing({ item, conditions }: Row, name: FactName): string | null {
  if (!SHOWN_BY_UNIT.has(name)) return null;
  if (name === 'closing-level' && item.content.kind === 'unit-changed') return null;
  return conditions.unit?.item.id ?? null;
}

const NONE: readonly never[] = [];
const LEFT_OUT: readonly Flag[] = ['left-out'];

/** The fact that each level of an entry is. */
export const LEVEL_NAMES = { level: 'level', opening: 'opening-level', closing: 'closing-level' } as const;

/** Whether a mark keeps this fact out of the arithmetic. */
function isLeftOut({ marks, leftOut }: Row, name: FactName): boolean {
  if (name === 'air-leak-grade') return marks.includes('beyond-leak-scale');
  return leftOut.some((part) => LEVEL_NAMES[part] === name);
}
