/**
 * What a device sends every few seconds, and what of it is charted. How often a ward charts is local policy: the quarter of
 * an hour here is common practice, no source.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { Author, EntryBody } from '../../../src/domain/vocabulary/entry.ts';
import {
  at,
  dec,
  placed,
  reading,
  rowsIn,
  says,
  setUp,
  type Told,
  tell,
} from '../../support/drain-script.ts';
import { DEFAULT_POLICY, ROWS_ONLY } from '../../support/policy.ts';
import { written } from '../../support/written.ts';

const PUMP: Author = { type: 'device', identifier: { system: 'urn:example:test', value: 'pump' } };
const UNIT = {
  id: 'electronic',
  kind: 'electronic' as const,
  capacity_ml: dec(800),
  graduations: [{ up_to_ml: dec(800), mark_ml: dec(1) }],
  seal_reading_includes_fill: false,
  seal_fill_counts: false,
  charted_every_min: dec(15),
};
const START: readonly Told[] = [placed('08:00'), setUp('08:00', 0, UNIT)];

const clock = (minute: number): string =>
  `${String(8 + Math.floor(minute / 60)).padStart(2, '0')}:${String(minute % 60).padStart(2, '0')}`;

/** So many minutes after 08:00. */
const sent = (minute: number, ml: number, more: object = {}, author: Author = PUMP): Told => ({
  ...reading(`m${minute}`, clock(minute), { level_ml: dec(ml), ...more }),
  author,
});

/** Keys of the readings that are charted. */
const charted = (story: readonly Told[], policy = DEFAULT_POLICY): string[] =>
  rowsIn(tell([...START, ...story], new Map(), policy).subject)
    .map(({ item }) => item.id)
    .filter((id) => id.startsWith('m'));

const minutes = (count: number) => Array.from({ length: count }, (_, n) => n + 1);

describe('what a device reads', () => {
  it('is charted at first and then every quarter of an hour', () => {
    expect(charted(minutes(46).map((m) => sent(m, m)))).toEqual(['m1', 'm16', 'm31', 'm46']);
  });

  it('is all charted where the unit names no time', () => {
    const { charted_every_min: _every, ...unit } = UNIT;
    const story = [placed('08:00'), setUp('08:00', 0, unit), ...minutes(9).map((m) => sent(m, m))];
    expect(rowsIn(tell(story).subject)).toHaveLength(11);
  });

  it('is charted at once where it says another thing in words, or another grade', () => {
    const leak = (grade: number) => ({ air_leak: { grade: dec(grade), phase: 'expiratory' } });
    expect(
      charted([
        sent(1, 1, leak(1)),
        sent(2, 1, { air_leak: { ...leak(1).air_leak, flow_ml_min: dec(30) }, pressure_cmh2o: dec(-9) }),
        sent(3, 1, leak(2)),
        sent(4, 1, leak(2)),
        sent(5, 1, { ...leak(2), tidaling: 'absent' }),
        sent(6, 1, { ...leak(2), tidaling: 'absent' }),
      ]),
    ).toEqual(['m1', 'm3', 'm5']);
  });

  it('is charted at once where it raises or ends an advisory: 25 cm H2O is high negativity', () => {
    const at20 = { pressure_cmh2o: dec(-20) };
    const at25 = { pressure_cmh2o: dec(-25) };
    const story = [sent(1, 1, at20), sent(2, 1, at20), sent(3, 1, at25), sent(4, 1, at25), sent(5, 1, at20)];
    expect(charted(story)).toEqual(['m1', 'm3', 'm5']);
  });

  it('is charted at once where the level falls or leaps, or is beyond the chamber', () => {
    expect(charted([sent(1, 100), sent(2, 101), sent(3, 40), sent(4, 41)])).toEqual(['m1', 'm3']);
    expect(charted([sent(1, 100), sent(2, 101), sent(3, 700), sent(4, 900)])).toEqual(['m1', 'm3', 'm4']);
  });

  it('is charted at once where its volume is not known, whatever the rules', () => {
    expect(charted([sent(1, 100), sent(2, 40), sent(3, 40)], ROWS_ONLY)).toEqual(['m1', 'm2']);
  });

  it('is interim though it is finer than the scale, or comes from a clock that is some minutes ahead', () => {
    expect(
      charted([sent(1, 10), { ...sent(2, 10), says: { kind: 'reading', level_ml: dec('10.5') } }]),
    ).toEqual(['m1']);
    const ahead = [sent(1, 10), sent(2, 11)].map((told) => ({ ...told, recorded: at('07:58') }));
    const { subject } = tell([...START, ...ahead]);
    expect(rowsIn(subject).at(-1)).toMatchObject({ item: { id: 'm1' }, marks: ['clock-skew'] });
  });

  it('is judged by the last reading of a device that counts, at the same minute too', () => {
    const again = { ...sent(1, 10), key: 'm1-again' };
    expect(charted([sent(1, 10), again])).toEqual(['m1']);
    const inQuestion = { ...sent(240, 10), recorded: at('08:00') };
    expect(charted([inQuestion, sent(245, 10)])).toEqual(['m240', 'm245']);
    const vented = { ...says('vented', clock(3), 'negativity-vented', {}), author: PUMP };
    expect(charted([sent(1, 10), vented, sent(4, 10)])).toEqual(['m1']);
  });

  it('is charted as long as no unit is known to say how often', () => {
    const story = [placed('08:00'), sent(1, 10), setUp('08:02', 10, UNIT), sent(3, 11), sent(4, 12)];
    expect(rowsIn(tell(story).subject).map(({ item }) => item.id)).toEqual(['placed', 'm1', 'set-up', 'm3']);
  });

  it('is charted at once after something else was done: a unit changed, a tube clamped', () => {
    const clamp = says('clamp', clock(3), 'clamped', {});
    expect(charted([sent(1, 10), sent(2, 11), clamp, sent(4, 11), sent(5, 11)])).toEqual(['m1', 'm4']);
    const unit = says('new', clock(3), 'unit-changed', {
      profile: UNIT.id,
      unit_profile: UNIT,
      closing_level_ml: dec(11),
      opening_level_ml: dec(0),
    });
    expect(charted([sent(1, 10), sent(2, 11), unit, sent(4, 1), sent(5, 2)])).toEqual(['m1', 'm4']);
  });

  it('does not hide what a person reads, nor is hidden by it', () => {
    const nurse: Author = { type: 'person', reference: 'Practitioner/n1' };
    const story = [sent(1, 10), sent(5, 11, {}, nurse), sent(8, 12), sent(16, 20)];
    expect(charted(story)).toEqual(['m1', 'm5', 'm16']);
  });

  it('is charted late where it fills a gap of more than that', () => {
    expect(charted([sent(1, 10), sent(60, 60), sent(30, 30), sent(40, 40), sent(45, 45)])).toEqual([
      'm1',
      'm30',
      'm45',
      'm60',
    ]);
  });
});

it('interim readings change nothing: what follows is as if they had never been sent', () => {
  const story = fc.array(
    fc.record({
      minute: fc.integer({ min: 1, max: 300 }),
      step: fc.integer({ min: 0, max: 3 }),
      absent: fc.integer({ min: 0, max: 9 }).map((n) => n === 0),
      byHand: fc.integer({ min: 0, max: 9 }).map((n) => n === 0),
    }),
    { minLength: 5, maxLength: 60 },
  );
  let interim = 0;
  fc.assert(
    fc.property(story, (readings) => {
      const once = [...new Map(readings.map((each) => [each.minute, each])).values()];
      const told = once.map(({ minute, step, absent, byHand }) =>
        sent(
          minute,
          minute * 2 + step,
          absent ? { tidaling: 'absent' } : {},
          byHand ? { type: 'person', reference: 'Practitioner/n1' } : PUMP,
        ),
      );
      const { subject, accepted } = tell([...START, ...told]);
      const left = new Set(accepted.filter((each) => each.interim).map(({ entry }) => entry.id));
      interim += left.size;
      const without = tell([...START, ...told.filter(({ key }) => !left.has(key))]);
      expect(without.accepted.filter((each) => each.interim)).toEqual([]);
      expect(rowsIn(subject).map(written)).toEqual(rowsIn(without.subject).map(written));
      expect(written(subject.get('d1')?.watch)).toBe(written(without.subject.get('d1')?.watch));
      expect(subject.get('d1')?.reissues).toEqual(without.subject.get('d1')?.reissues);
    }),
    { numRuns: 200 },
  );
  expect(interim).toBeGreaterThan(0);
});

it('an interim reading is in no chart, so there is nothing to correct; it is told what would follow', () => {
  const { subject, accepted } = tell([...START, sent(1, 10), sent(2, 14)]);
  const last = accepted.at(-1);
  expect(last).toMatchObject({ interim: true, entry: { body: { effective_at: at('08:02') } as EntryBody } });
  expect(last?.row?.volumes?.interval.drained).toBe(4000);
  expect(subject.get('d1')).toMatchObject({ head: 4 });
  expect(subject.get('d1')?.members.size).toBe(3);
});
