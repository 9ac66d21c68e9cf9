import { describe, expect, it } from 'vitest';
import { chartedFacts } from '../../../src/domain/facts/charted-facts.ts';
import { factsOf } from '../../../src/domain/facts/issue.ts';
import { type Mark, type MarkBook, mark } from '../../../src/domain/fold/marks.ts';
import {
  at,
  changed,
  corrected,
  dec,
  intervalAt,
  level,
  onDrain,
  placed,
  reading,
  rowOf,
  rowsOf,
  says,
  setUp,
  type Told,
  voided,
  weighed,
} from '../../support/drain-script.ts';
import { SMALL_UNIT } from '../../support/statements.ts';

const START: readonly Told[] = [placed(), setUp('08:00', 0)];
const DEVICE = { type: 'device', reference: 'Device/1' } as const;
const NEXT = level('next', '12:00', 300);
const removed = (key: string, time: string) => says(key, time, 'removed', {});
const marksOf = (story: readonly Told[], key: string) => rowOf(story, key).marks;
/** Drained up to `next`, mL: what the entry in question takes part in, or not. */
const next = (story: readonly Told[]) => intervalAt(story, 'next')?.drained;

interface Case {
  readonly mark: Mark;
  readonly story: readonly Told[];
  /** The marked entry. */
  readonly key: string;
  /** Drained up to `next` while the mark stands, and when it is cleared. */
  readonly marked: number | undefined;
  readonly clearedBy: Told;
  readonly cleared: number;
}

const early = level('x', '09:00', 100);
const above = level('x', '11:00', 2005);
const CASES: readonly Case[] = [
  {
    mark: 'before-placement',
    story: [placed('10:00'), setUp('08:00', 0), early, NEXT],
    key: 'x',
    marked: undefined,
    clearedBy: corrected('p2', 'placed', placed('08:00')),
    cleared: 200,
  },
  {
    mark: 'after-removal',
    story: [...START, removed('r', '10:00'), level('x', '11:00', 100), NEXT],
    key: 'x',
    marked: undefined,
    clearedBy: voided('v', 'r'),
    cleared: 200,
  },
  {
    mark: 'above-capacity',
    story: [...START, above, NEXT],
    key: 'x',
    marked: 300,
    clearedBy: corrected('x2', 'x', level('', '11:00', 205)),
    cleared: 95,
  },
  {
    mark: 'conflicting-levels',
    story: [...START, level('x', '11:00', 100), level('y', '11:00', 200), NEXT],
    key: 'x',
    marked: 300,
    clearedBy: voided('v', 'y'),
    cleared: 200,
  },
  {
    mark: 'level-of-neither-run',
    story: [
      ...START,
      level('a', '09:00', 900),
      level('x', '11:00', 150),
      changed('u', '11:00', 980, 100),
      NEXT,
    ],
    key: 'x',
    marked: 200,
    clearedBy: corrected('u2', 'u', changed('', '11:00', 980, 150)),
    cleared: 150,
  },
];

describe('a mark that leaves an entry out of the arithmetic', () => {
  it.each(CASES)('$mark is shown, counts for nothing, and is cleared by a later entry', (c) => {
    expect(marksOf(c.story, c.key)).toEqual([c.mark]);
    expect(next(c.story)).toBe(c.marked);
    const cleared = [...c.story, c.clearedBy];
    expect(marksOf(cleared, c.key)).toEqual([]);
    expect(next(cleared)).toBe(c.cleared);
  });

  it('leaves the time in question out until a correction with the same time confirms it', () => {
    const ahead = { ...level('x', '11:00', 100), author: DEVICE, recorded: '10:54' };
    const story = [...START, ahead, NEXT];
    expect(marksOf(story, 'x')).toEqual(['time-in-question']);
    expect(next(story)).toBe(300);
    const confirmed = [...story, corrected('x2', 'x', level('', '11:00', 100))];
    expect(marksOf(confirmed, 'x')).toEqual([]);
    expect(next(confirmed)).toBe(200);
  });

  it('issues no fact of a statement that counts for nothing', () => {
    for (const c of CASES.slice(0, 2)) expect(factsOf(rowOf(c.story, c.key))).toEqual([]);
  });

  it('clears an above-capacity level when a larger unit was charted late', () => {
    const small = [
      placed(),
      setUp('08:00', 0, SMALL_UNIT),
      level('a', '09:00', 100),
      level('x', '11:00', 300),
    ];
    expect(marksOf(small, 'x')).toEqual(['above-capacity']);
    const larger = [...small, changed('u', '10:00', 140, 20)];
    expect(marksOf(larger, 'x')).toEqual([]);
    expect(intervalAt(larger, 'x')?.drained).toBe(280);
  });

  it('flags the fact of the level that is left out, and no other level of its entry', () => {
    const over = changed('u', '11:00', 2005, 0);
    const flags = chartedFacts(rowOf([...START, over, level('b', '12:00', 40)], 'u')).map((f) => [
      f.name,
      f.flags,
    ]);
    expect(flags).toEqual([
      ['collection-unit', []],
      ['closing-level', ['left-out']],
      ['opening-level', []],
    ]);
    const facts = chartedFacts(rowOf([...START, above], 'x')).map((f) => [f.name, f.flags]);
    expect(facts).toEqual([
      ['level', ['left-out']],
      ['reading', []],
    ]);
  });

  it('flags a grade beyond the scale, and nothing else of its reading', () => {
    const leak = reading('x', '09:00', { level_ml: dec(50), air_leak: { grade: dec(8) } });
    const row = rowOf([...START, leak], 'x');
    expect(row.marks).toEqual(['beyond-leak-scale']);
    expect(
      chartedFacts(row)
        .filter((f) => f.flags.includes('left-out'))
        .map((f) => f.name),
    ).toEqual(['air-leak-grade']);
    expect(row.volumes?.interval.drained).toBe(50_000);
    const mended = corrected('x2', 'x', reading('', '09:00', { air_leak: { grade: dec(7) } }));
    expect(marksOf([...START, leak, mended], 'x')).toEqual([]);
  });
});

describe('a mark for the eye (common practice, no source)', () => {
  it.each<[Mark, string, readonly Told[], readonly Told[]]>([
    [
      'finer-than-graduations',
      '102 mL on marks of 5',
      [level('x', '11:00', 102)],
      [level('x', '11:00', 105)],
    ],
    [
      'sudden-jump',
      '505 mL in 59 min',
      [level('a', '11:00', 0), level('x', '11:59', 505)],
      [level('a', '11:00', 0), level('x', '11:59', 500)],
    ],
    [
      'sudden-jump',
      '505 mL in 59 min but not in 60',
      [level('a', '11:00', 0), level('x', '11:59', 505)],
      [level('a', '10:59', 0), level('x', '11:59', 505)],
    ],
    [
      'possible-double-entry',
      'the same level within 5 min',
      [level('a', '11:00', 100), level('x', '11:05', 100)],
      [level('a', '11:00', 100), level('x', '11:06', 100)],
    ],
    [
      'possible-double-entry',
      'a device may repeat itself',
      [level('a', '11:00', 100), level('x', '11:05', 100)],
      [level('a', '11:00', 100), { ...level('x', '11:05', 100), author: DEVICE }],
    ],
    [
      'suction-without-bubbling',
      'source on, none seen',
      [reading('x', '11:00', { suction: { source: 'on', bubbling: 'none' } })],
      [reading('x', '11:00', { suction: { source: 'on', bubbling: 'gentle' } })],
    ],
    [
      'suction-without-bubbling',
      'source off is no suction',
      [reading('x', '11:00', { suction: { source: 'on', bubbling: 'none' } })],
      [reading('x', '11:00', { suction: { source: 'off', bubbling: 'none' } })],
    ],
    [
      'clock-skew',
      'a clock over 1 min ahead',
      [{ ...level('x', '11:00', 100), recorded: '10:58' }],
      [{ ...level('x', '11:00', 100), recorded: '10:59' }],
    ],
    [
      'clock-skew',
      '5 min ahead still counts',
      [{ ...level('x', '11:00', 100), recorded: '10:55' }],
      [{ ...level('x', '11:00', 100), recorded: '11:00' }],
    ],
  ])('%s: %s', (mark, _, marked, unmarked) => {
    expect(marksOf([...START, ...marked], 'x')).toEqual([mark]);
    expect(marksOf([...START, ...unmarked], 'x')).toEqual([]);
  });

  it('changes no volume', () => {
    const odd = [...START, level('a', '11:00', 1), { ...level('x', '11:05', 601), recorded: '11:03' }];
    expect(marksOf(odd, 'x')).toEqual(['clock-skew', 'finer-than-graduations', 'sudden-jump']);
    expect(intervalAt(odd, 'x')?.drained).toBe(600);
  });
});

describe('the placement and removal of a drain', () => {
  it('lets nothing count before a placement arrives, and all after it', () => {
    const story = [setUp('08:00', 0), level('a', '09:00', 40)];
    expect(rowsOf(story).map(({ marks }) => marks)).toEqual([['before-placement'], ['before-placement']]);
    expect(intervalAt([...story, placed()], 'a')?.drained).toBe(40);
  });

  it('counts what stands at the very minute of either', () => {
    const story = [...START, level('a', '12:00', 40), removed('r', '12:00')];
    expect(rowsOf(story).flatMap(({ marks }) => marks)).toEqual([]);
    expect(intervalAt(story, 'a')?.drained).toBe(40);
  });

  it('does not count a removal that stands before the placement', () => {
    const story = [placed('08:00'), setUp('08:00', 0), removed('r', '07:00'), level('a', '09:00', 40)];
    expect(marksOf(story, 'r')).toEqual(['before-placement']);
    expect(intervalAt(story, 'a')?.drained).toBe(40);
  });

  it.each([
    ['removal', { ...removed('q', '09:00'), author: DEVICE, recorded: '08:30' }],
    ['placement', { ...placed('11:30'), key: 'q', author: DEVICE, recorded: '11:00' }],
  ])('does not count a %s whose time is in question', (_, questioned) => {
    const story = [...START, questioned, level('a', '10:00', 40)];
    expect(marksOf(story, 'q')).toEqual(['time-in-question']);
    expect(intervalAt(story, 'a')?.drained).toBe(40);
  });

  it('does not index by a weight whose time is in question, here or on another drain of the patient', () => {
    const patient = { patient: { reference: 'Patient/1' } };
    const questioned = { ...weighed('w', '09:00', 70), author: DEVICE, recorded: '08:30' };
    const story = [
      placed('08:00', patient),
      setUp('08:00', 0),
      level('a', '10:00', 40),
      level('b', '11:00', 80),
    ];
    const other = onDrain('d2', { ...placed('08:00', patient), key: 'placed-2' });
    const perKg = { per_kg: { value: null, reason: 'no-weight' } };
    expect(rowOf([...story, questioned], 'b').volumes?.rate).toMatchObject(perKg);
    expect(rowOf([...story, other, onDrain('d2', questioned)], 'b').volumes?.rate).toMatchObject(perKg);
    const confirmed = [...story, questioned, corrected('w2', 'w', weighed('', '09:00', 70))];
    expect(rowOf(confirmed, 'b').volumes?.rate).toMatchObject({ per_kg: { weight: { id: 'w' } } });
    expect(rowOf(confirmed, 'w').item.content.effective_at).toBe(at('09:00'));
  });
});

describe('a mark on an entry', () => {
  it('stands once, however often it is found, and in the order found', () => {
    const marks: MarkBook = new Map();
    for (const found of ['clock-skew', 'sudden-jump', 'clock-skew'] as const) mark(marks, 'a', found);
    expect(marks.get('a')).toEqual(['clock-skew', 'sudden-jump']);
  });
});
