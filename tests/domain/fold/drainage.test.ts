import { describe, expect, it } from 'vitest';
import {
  changed,
  corrected,
  dec,
  intervalAt,
  level,
  ml,
  placed,
  rebased,
  rowOf,
  says,
  setUp,
  type Told,
  voided,
  WET_UNIT,
} from '../../support/drain-script.ts';
import { SMALL_UNIT } from '../../support/statements.ts';

const START: readonly Told[] = [placed(), setUp('08:00', 0)];
const measured = (drained: number) => ({ status: 'measured', drained, net: drained });
const atLeast = (drained: number, reason: string) => ({ status: 'at-least', drained, net: drained, reason });
const unknown = (reason: string) => ({ status: 'indeterminate', drained: null, net: null, reason });

describe('drained volume within a run (common practice, no source)', () => {
  it.each([
    ['the rise of the level', 180, 310, measured(130)],
    ['the rise from a pre-filled unit: 95 on an opening level of 20 is 75', 20, 95, measured(75)],
    ['nothing when the level stays', 120, 120, measured(0)],
    ['nothing for a fall of one graduation, 5 mL', 120, 115, measured(0)],
    ['unknown for a fall of more than one graduation', 300, 280, unknown('unexplained-fall')],
    ['unknown for a fall just beyond one graduation', 120, 114.999, unknown('unexplained-fall')],
  ])('is %s', (_, opening, reading, expected) => {
    expect(intervalAt([placed(), setUp('08:00', opening), level('a', '12:00', reading)], 'a')).toEqual(
      expected,
    );
  });

  it('makes good a fall within one graduation before new volume counts', () => {
    const story = [...START, level('a', '09:00', 100), level('b', '10:00', 95), level('c', '11:00', 110)];
    expect(intervalAt(story, 'b')).toEqual(measured(0));
    expect(intervalAt(story, 'c')).toEqual(measured(10));
  });

  it('measures a fall from the highest level of the run, however slowly it came', () => {
    const story = [...START, level('a', '09:00', 100), level('b', '10:00', 96), level('c', '11:00', 94)];
    expect(intervalAt(story, 'b')).toEqual(measured(0));
    expect(intervalAt(story, 'c')).toEqual(unknown('unexplained-fall'));
  });

  it('takes the graduation of the band in which the highest level lies', () => {
    const start = [placed(), setUp('08:00', 0, SMALL_UNIT)];
    const fine = [...start, level('a', '09:00', 50), level('b', '10:00', 48)];
    const coarse = [...start, level('a', '09:00', 60), level('b', '10:00', 50)];
    expect(intervalAt(fine, 'b')).toEqual(unknown('unexplained-fall'));
    expect(intervalAt(coarse, 'b')).toEqual(measured(0));
  });

  it('is none at the first level without a stated opening: a baseline is no interval and no zero', () => {
    const story = [placed(), setUp('08:00', null), level('a', '09:00', 150), level('b', '10:00', 170)];
    expect(intervalAt(story, 'a')).toBeNull();
    expect(intervalAt(story, 'b')).toEqual(measured(20));
  });

  it('is none at a baseline charted at the minute of a set-up without opening level', () => {
    const story = [placed(), setUp('08:00', null), level('a', '08:00', 150), level('b', '10:00', 170)];
    expect(intervalAt(story, 'a')).toBeNull();
    expect(intervalAt(story, 'b')).toEqual(measured(20));
    expect(rowOf(story, 'b').volumes?.cumulative.reasons).toEqual(['baseline-only']);
  });
});

describe('a fall that nothing explains', () => {
  const high = [...START, level('a', '09:00', 200), level('b', '10:00', 250), level('c', '11:00', 210)];

  it('casts doubt on the rise before it: 250 for 205 looks like this (worked example, no source)', () => {
    expect(intervalAt(high, 'b')).toEqual({ ...measured(50), suspect: true });
    expect(intervalAt(high, 'c')).toEqual(unknown('unexplained-fall'));
  });

  it('starts the run anew: what follows is measured from the lower level', () => {
    expect(intervalAt([...high, level('d', '12:00', 230)], 'd')).toEqual(measured(20));
  });

  it('doubts the rise that set the highest level, not the readings since', () => {
    const story = [...START, level('a', '09:00', 200), level('b', '10:00', 250), level('c', '11:00', 250)];
    const fallen = [...story, level('d', '12:00', 210)];
    expect(intervalAt(fallen, 'b')).toMatchObject({ suspect: true });
    expect(intervalAt(fallen, 'c')).toEqual(measured(0));
    expect(intervalAt(fallen, 'd')).toEqual(unknown('unexplained-fall'));
  });

  it('doubts nothing when the highest level was the opening one', () => {
    const story = [placed(), setUp('08:00', 100), level('a', '09:00', 20), level('b', '10:00', 50)];
    expect(intervalAt(story, 'a')).toEqual(unknown('unexplained-fall'));
    expect(intervalAt(story, 'b')).toEqual(measured(30));
  });

  it('turns back into numbers when a late unit change explains it', () => {
    const explained = [...high, changed('change', '10:30', 260, 200)];
    expect(intervalAt(explained, 'b')).toEqual(measured(50));
    expect(intervalAt(explained, 'change')).toEqual(measured(10));
    expect(intervalAt(explained, 'c')).toEqual(measured(10));
    expect(rowOf(explained, 'c').volumes?.cumulative).toMatchObject({
      net: 270_000,
      suspect: 0,
      reasons: [],
    });
  });

  it('turns back into numbers when a correction of the false high does', () => {
    const mended = [...high, corrected('b2', 'b', level('', '10:00', 205))];
    expect(intervalAt(mended, 'b')).toEqual(measured(5));
    expect(intervalAt(mended, 'c')).toEqual(measured(5));
    expect(rowOf(mended, 'c').volumes?.cumulative).toMatchObject({ net: 210_000, suspect: 0, reasons: [] });
  });

  it('comes back when the unit change that explained it is withdrawn', () => {
    const withdrawn = [...high, changed('change', '10:30', 260, 200), voided('v', 'change')];
    expect(intervalAt(withdrawn, 'b')).toEqual({ ...measured(50), suspect: true });
    expect(intervalAt(withdrawn, 'c')).toEqual(unknown('unexplained-fall'));
  });

  it('is found at a closing level too', () => {
    const story = [
      ...START,
      level('a', '09:00', 200),
      changed('change', '10:00', 150, 0),
      level('b', '11:00', 30),
    ];
    expect(intervalAt(story, 'change')).toEqual(unknown('unexplained-fall'));
    expect(intervalAt(story, 'a')).toMatchObject({ suspect: true });
    expect(intervalAt(story, 'b')).toEqual(measured(30));
  });
});

describe('drained volume across a unit change (common practice, no source)', () => {
  const before = [...START, level('a', '10:00', 1840)];

  it('is 140 to the closing level and 95 after it, shown as one row of 235', () => {
    const story = [...before, changed('change', '11:00', 1980, 0), level('b', '12:00', 95)];
    expect(intervalAt(story, 'change')).toEqual(measured(140));
    expect(intervalAt(story, 'b')).toEqual(measured(95));
    expect(ml(rowOf(story, 'b').volumes?.since_reading.drained)).toBe(235);
  });

  it('counts from the opening level of a pre-filled unit: 95 on 20 is 75', () => {
    const story = [...before, changed('change', '11:00', 1980, 20), level('b', '12:00', 95)];
    expect(intervalAt(story, 'b')).toEqual(measured(75));
  });

  it('is at least the part in the new unit without a closing level', () => {
    const story = [...before, changed('change', '11:00', null, 0), level('b', '12:00', 95)];
    expect(intervalAt(story, 'change')).toBeNull();
    expect(intervalAt(story, 'b')).toEqual(atLeast(95, 'no-closing-level'));
    expect(rowOf(story, 'b').volumes?.interval.from.id).toBe('a');
  });

  it('is unknown until the second level of a unit that states neither', () => {
    const story = [
      ...before,
      changed('change', '11:00', null, null),
      level('b', '12:00', 95),
      level('c', '13:00', 105),
    ];
    expect(intervalAt(story, 'b')).toEqual(unknown('no-closing-level'));
    expect(intervalAt(story, 'c')).toEqual(measured(10));
  });

  it('is unknown for the first level of a new unit without opening level', () => {
    const story = [...before, changed('change', '11:00', 1980, null), level('b', '12:00', 95)];
    expect(intervalAt(story, 'change')).toEqual(measured(140));
    expect(intervalAt(story, 'b')).toEqual(unknown('opening-not-stated'));
    expect(rowOf(story, 'b').volumes?.interval.from).toMatchObject({ id: 'change', part: 'closing' });
  });

  it('goes back to the last level known when two units in a row were not closed', () => {
    const twice = [changed('one', '11:00', null, 0), changed('two', '12:00', null, 0)];
    const story = [...before, ...twice, level('b', '13:00', 40)];
    expect(intervalAt(story, 'b')).toEqual(atLeast(40, 'no-closing-level'));
    expect(rowOf(story, 'b').volumes?.interval.from.id).toBe('a');
  });

  it('takes a second set-up as a unit change without closing level', () => {
    const story = [...before, setUp('11:00', 0, WET_UNIT, 'second'), level('b', '12:00', 95)];
    expect(intervalAt(story, 'b')).toEqual(atLeast(95, 'no-closing-level'));
  });

  it('becomes exact when a correction adds the closing level', () => {
    const open = [...before, changed('change', '11:00', null, 0), level('b', '12:00', 95)];
    const closed = [...open, corrected('change2', 'change', changed('', '11:00', 1980, 0))];
    expect(intervalAt(closed, 'change')).toEqual(measured(140));
    expect(intervalAt(closed, 'b')).toEqual(measured(95));
  });
});

describe('drained volume across a re-based level', () => {
  const before = [...START, level('a', '10:00', 300)];

  it('counts up to the last trusted level, as a lower bound, and is measured from the new level on', () => {
    const story = [...before, rebased('tip', '11:00', 340, 120), level('b', '12:00', 150)];
    expect(intervalAt(story, 'tip')).toEqual(atLeast(40, 'level-rebased'));
    expect(intervalAt(story, 'b')).toEqual(measured(30));
  });

  it('is at least the rise since the new level when none can be trusted', () => {
    const story = [...before, rebased('tip', '11:00', null, 120), level('b', '12:00', 150)];
    expect(intervalAt(story, 'tip')).toBeNull();
    expect(intervalAt(story, 'b')).toEqual(atLeast(30, 'level-rebased'));
    expect(rowOf(story, 'b').volumes?.interval.from.id).toBe('a');
  });

  it('is unknown where no new level was stated, and measured again after that', () => {
    const story = [
      ...before,
      rebased('tip', '11:00', 340, null),
      level('b', '12:00', 150),
      level('c', '13:00', 160),
    ];
    expect(intervalAt(story, 'b')).toEqual(unknown('opening-not-stated'));
    expect(intervalAt(story, 'c')).toEqual(measured(10));
  });

  it('never sums the estimated loss', () => {
    const levels = { last_trusted_level_ml: dec(340), new_level_ml: dec(120) };
    const tip = (more: object) =>
      says('tip', '11:00', 'level-rebased', { cause: 'tip-over', ...levels, ...more });
    const volumes = (more: object) => rowOf([...before, tip(more), level('b', '12:00', 150)], 'b').volumes;
    expect(volumes({ estimated_loss_ml: dec(500) })).toEqual(volumes({}));
    expect(volumes({})?.cumulative.net).toBe(370_000);
  });

  describe('a false low: 300, a mistyped 30, then 310 (common practice, no source)', () => {
    const story = [
      ...START,
      level('a', '09:00', 100),
      level('b', '10:00', 200),
      level('c', '11:00', 300),
      level('low', '12:00', 30),
    ];

    it('does not make 280 mL out of 10: the climb back is in doubt like the rise before the fall', () => {
      const volumes = rowOf([...story, level('d', '13:00', 310)], 'd').volumes;
      expect(volumes?.interval).toMatchObject({ drained: 280_000, suspect: true });
      // 100 + 200 is certain, so a lower bound of 310 that holds.
      expect(volumes?.cumulative).toMatchObject({ drained: 200_000, suspect: 380_000 });
      expect(volumes?.windows.at(-1)?.net_low).toBe(200_000);
    });

    it('takes a level within one graduation of the old maximum for a climb back', () => {
      expect(rowOf([...story, level('d', '13:00', 295)], 'd').volumes?.interval.suspect).toBe(true);
      expect(rowOf([...story, level('d', '13:00', 290)], 'd').volumes?.interval.suspect).toBe(false);
    });

    it('counts on once the climb is over, and all again when the low is corrected', () => {
      const after = [...story, level('d', '13:00', 310), level('e', '14:00', 330)];
      expect(rowOf(after, 'e').volumes?.interval).toMatchObject({ drained: 20_000, suspect: false });
      const corrected: Told = { ...level('low-fixed', '15:00', 303), corrects: 'low', to: '12:00' };
      expect(rowOf([...after, corrected], 'e').volumes?.cumulative).toMatchObject({
        net: 330_000,
        reasons: [],
      });
    });

    it('remembers the higher of two maxima that were fallen from', () => {
      const twice = [
        ...story,
        level('d', '13:00', 60),
        level('lower', '14:00', 20),
        level('e', '15:00', 300),
      ];
      expect(rowOf(twice, 'e').volumes?.interval.suspect).toBe(true);
    });
  });
});
