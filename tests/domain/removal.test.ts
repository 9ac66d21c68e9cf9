/** What was measured beside the figures of a policy. All readings are invented. */
import { describe, expect, it } from 'vitest';
import type { FluidCharacter } from '../../src/domain/entry.ts';
import { approximately } from '../../src/domain/rational.ts';
import { type Criterion, removalEvidence } from '../../src/domain/removal.ts';
import { REMOVAL_POLICIES, type RemovalPolicy } from '../../src/domain/removal-policies.ts';
import { HOUR_MS } from '../../src/domain/units.ts';
import {
  bookOf,
  changed,
  clamped,
  dec,
  instilled,
  level,
  placed,
  reading,
  sampled,
  says,
  setUp,
  type Told,
  unclamped,
  weighed,
} from '../support/drain-script.ts';

const policy = (id: string): RemovalPolicy => {
  const found = REMOVAL_POLICIES.find((each) => each.id === id);
  if (found === undefined) throw new Error(`no policy ${id}`);
  return found;
};
const UP_TO_450 = policy('lobectomy-450-ml-2017');
const BY_WEIGHT = policy('lung-resection-7-ml-kg-2015');

const evidenceOf = (story: readonly Told[], of = UP_TO_450) => {
  const { chart, view, circumstances } = bookOf(story);
  return removalEvidence(of, chart, view, circumstances);
};

/** One criterion, as [status, reason]. */
function standing(story: readonly Told[], name: Criterion['criterion'], of = UP_TO_450) {
  const found = evidenceOf(story, of).criteria.find(({ criterion }) => criterion === name);
  return found === undefined ? null : [found.status, found.reason];
}

const START = placed('00:00', { indication: 'thoracic-surgery' });
const time = (hour: number) => `+${Math.floor(hour / 24)} ${String(hour % 24).padStart(2, '0')}:00`;

/** A whole day of hourly levels that rise evenly to a total. */
const day = (total: number, more: readonly Told[] = []): readonly Told[] => [
  ...[START, setUp('00:00', 0), ...more],
  ...Array.from({ length: 24 }, (_, i) => level(`l${i + 1}`, time(i + 1), ((i + 1) * total) / 24)),
];
const volumeIn = (story: readonly Told[], of = UP_TO_450) => standing(story, 'volume', of);

describe('volume over 24 h, up to 450 mL', () => {
  // Marks of 5 mL: U of the difference of two levels is 4.08 mL, k = 2 (JCGM 100:2008, 4.3.7).
  it.each([
    [240, ['met', null]],
    [432, ['met', null]],
    [445.9, ['met', null]],
    [446, ['not-known', 'within-uncertainty']],
    [450, ['not-known', 'within-uncertainty']],
    [454, ['not-known', 'within-uncertainty']],
    [454.1, ['not-met', null]],
    [480, ['not-met', null]],
  ])('%d mL: %j', (total, expected) => {
    const last = level('l24', '+1 00:00', total);
    expect(volumeIn([...day(240).slice(0, -1), last])).toEqual(expected);
  });

  it('is met only by net and drained + sampled both, and not met only by neither', () => {
    expect(volumeIn(day(480, [instilled('i', '06:00', 100)]))).toEqual([
      'not-known',
      'net-and-drained-differ',
    ]);
    expect(volumeIn(day(600, [instilled('i', '06:00', 100)]))).toEqual(['not-met', null]);
    expect(volumeIn(day(360, [instilled('i', '06:00', 100)]))).toEqual(['met', null]);
    expect(volumeIn(day(432, [sampled('s', '06:00', 30)]))).toEqual(['not-met', null]);
    const mixed = [instilled('i', '06:00', 100), sampled('s', '06:30', 60)];
    expect(volumeIn(day(432, mixed))).toEqual(['not-known', 'net-and-drained-differ']);
    // Net is 452 ± 4.08 mL: whether it meets the limit is open, so neither can be said.
    expect(volumeIn(day(552, [instilled('i', '06:00', 100)]))).toEqual(['not-known', 'within-uncertainty']);
  });

  it('is never met by a lower bound, but may be shown not to be met by one', () => {
    const start = [START, setUp('00:00', 0)];
    const few = [...start, level('a', '03:00', 10), level('b', '+1 01:00', 30)];
    expect(volumeIn(few)).toEqual(['not-known', 'not-covered']);
    const young = [...start, level('a', '02:00', 20)];
    expect(volumeIn(young)).toEqual(['not-known', 'not-in-place-throughout']);
    expect(volumeIn([...start, level('a', '02:00', 600)])).toEqual(['not-met', null]);
    const lost = [...day(240).slice(0, -1), changed('u', '23:30', null, 0), level('z', '+1 00:00', 5)];
    expect(volumeIn(lost)).toEqual(['not-known', 'not-covered']);
  });

  it('is not known without a level, without a window, and without graduations', () => {
    expect(volumeIn([START])).toEqual(['not-known', 'no-level']);
    expect(volumeIn([START, setUp('00:00', 0)])).toEqual(['not-known', 'not-in-place-throughout']);
    expect(volumeIn([START, setUp('00:00', 0), level('a', '+2 00:00', 3)])).toEqual([
      'not-known',
      'not-covered',
    ]);
    const [start, , ...levels] = day(240);
    const bare = [start, level('l0', '00:00', 0), ...levels].flatMap((each) => each ?? []);
    expect(volumeIn(bare)).toEqual(['not-known', 'uncertainty-not-known']);
  });

  it('names the levels and flows of the window', () => {
    const more = [
      level('l25', time(25), 250),
      sampled('s', '06:00', 2),
      instilled('start', '01:00', 1),
      sampled('early', '00:30', 2),
      sampled('end', time(25), 2),
      clamped('other', time(25)),
    ];
    const [found] = evidenceOf([...day(240), ...more]).criteria;
    expect(found?.entries).toEqual(expect.arrayContaining(['l1', 'l2', 's', 'start', 'l25']));
    expect(found?.entries).not.toContain('set-up');
    expect(found?.entries).not.toContain('early');
    expect(found?.entries).not.toContain('end');
    expect(found?.entries).toHaveLength(27);
    if (found?.criterion !== 'volume') throw new Error('volume comes first');
    expect(approximately(found.compared?.sum.net ?? { numerator: 0n, denominator: 1n })).toBe(241_000);
  });

  it('names both levels of a fall that nothing explains, but neither what bears on no volume nor what does not count', () => {
    const entries = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told]).criteria[0]?.entries;
    const fall = [level('a', '01:00', 100), level('b', '02:00', 20), level('c', '03:00', 30)];
    expect(entries(...fall)).toEqual(['set-up', 'a', 'b', 'c']);
    const bearsOnNone = reading('x', '01:30', { tidaling: 'present' });
    const beforePlacement = sampled('y', '2026-02-28T23:30:00Z', 2);
    expect(entries(level('a', '02:00', 20), bearsOnNone, beforePlacement)).toEqual(['set-up', 'a']);
    expect(entries(bearsOnNone)).toEqual([]);
    expect(evidenceOf([START]).criteria[0]?.entries).toEqual([]);
  });
});

describe('volume by weight, below 7 mL/kg/24 h', () => {
  // 70 kg: 490 mL (arithmetic ours).
  it.each([
    [480, ['met', null]],
    [504, ['not-met', null]],
  ])('%d mL at 70 kg: %j', (total, expected) => {
    const story = day(total, [weighed('w', '00:00', 70)]);
    expect(volumeIn(story, BY_WEIGHT)).toEqual(expected);
    expect(evidenceOf(story, BY_WEIGHT).criteria[0]?.entries).toContain('w');
  });
  it('is not known without a weight at the start of the window, or with an old one', () => {
    expect(volumeIn(day(240), BY_WEIGHT)).toEqual(['not-known', 'no-weight']);
    expect(volumeIn(day(240, [weighed('w', '00:30', 70)]), BY_WEIGHT)).toEqual(['not-known', 'no-weight']);
    const old = weighed('w', '2026-02-01T00:00:00Z', 70);
    expect(volumeIn(day(240, [old]), BY_WEIGHT)).toEqual(['not-known', 'weight-too-old']);
  });
});

const grade = (key: string, when: string, value: number) =>
  reading(key, when, { air_leak: { grade: dec(value) } });

describe('no air leak', () => {
  const leak = (...told: readonly Told[]) => standing([START, setUp('00:00', 0), ...told], 'air-leak');
  it('is as the newest assessment shows', () => {
    expect(leak()).toEqual(['not-known', 'not-assessed']);
    expect(leak(grade('a', '01:00', 2), grade('b', '02:00', 0))).toEqual(['met', null]);
    expect(leak(grade('a', '01:00', 0), grade('b', '02:00', 2))).toEqual(['not-met', null]);
  });
  it('is not known from one of over 24 h before, nor of a tube that lost its swing', () => {
    expect(leak(grade('a', '01:00', 0), level('l', '+1 01:00', 5))).toEqual(['met', null]);
    expect(leak(grade('a', '01:00', 0), level('l', '+1 01:01', 5))).toEqual([
      'not-known',
      'assessed-too-long-ago',
    ]);
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    const lost = [swing('01:00', 'present'), swing('02:00', 'absent'), grade('a', '03:00', 0)];
    expect(leak(...lost)).toEqual(['not-known', 'swing-lost']);
    expect(leak(...lost, swing('04:00', 'present'), grade('b', '05:00', 0))).toEqual(['met', null]);
    expect(leak(...lost, swing('03:00', 'present'))).toEqual(['met', null]);
  });
  it('may be known from one before the swing was lost', () => {
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    const seen = grade('a', '03:00', 0);
    expect(leak(seen, swing('03:00', 'present'), swing('04:00', 'absent'))).toEqual(['met', null]);
    expect(leak(seen, swing('03:30', 'present'), swing('04:00', 'absent'))).toEqual(['met', null]);
  });
  it('counts the age of an assessment up to what was charted of the drain while it was in', () => {
    const out = says('out', '02:00', 'removed', {});
    expect(leak(grade('a', '01:00', 0), out, level('late', '+2 00:00', 5))).toEqual(['met', null]);
  });
  it('names the assessment behind it', () => {
    const behind = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told]).criteria.find(
        ({ criterion }) => criterion === 'air-leak',
      );
    expect(behind()).toMatchObject({ leak: null, entries: [] });
    expect(behind(grade('a', '01:00', 2), grade('b', '02:00', 0))).toMatchObject({
      leak: false,
      entries: ['b'],
    });
  });
});

describe('a flow below 20 mL/min for more than 6 h', () => {
  const flow = (hour: number, value: number) =>
    reading(`f${hour}`, time(hour), { air_leak: { flow_ml_min: dec(value) } });
  const run = (from: number, to: number, value = 10) =>
    Array.from({ length: to - from + 1 }, (_, i) => flow(from + i, value));
  const flows = (...told: readonly Told[]) => {
    const story = [START, setUp('00:00', 0), ...told];
    return standing(story, 'air-flow', BY_WEIGHT);
  };
  it('is met by readings below it for longer, not for 6 h exactly', () => {
    expect(flows()).toEqual(['not-known', 'not-assessed']);
    expect(flows(...run(1, 8))).toEqual(['met', null]);
    expect(flows(...run(1, 7))).toEqual(['not-known', 'shown-for-too-short']);
    expect(flows(...run(1, 8, 20))).toEqual(['not-met', null]);
  });
  it('is not met where one of the 6 h was at it or over, and not known where none was but the time is short', () => {
    expect(flows(flow(1, 20), ...run(2, 7))).toEqual(['not-met', null]);
    expect(flows(flow(1, 20), ...run(2, 9))).toEqual(['met', null]);
    expect(flows(flow(1, 20), ...run(2, 8))).toEqual(['not-known', 'shown-for-too-short']);
  });
  it('is not known over a gap, a clamp, a lost swing, nor from long ago', () => {
    expect(flows(...run(1, 3), ...run(6, 9))).toEqual(['not-known', 'gap-too-long']);
    expect(flows(...run(1, 3), ...run(5, 9))).toEqual(['met', null]);
    const clamp = [clamped('c', '04:10'), unclamped('u', '04:20')];
    expect(flows(...run(1, 8), ...clamp)).toEqual(['not-known', 'clamped']);
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    expect(flows(...run(1, 8), swing('01:30', 'present'), swing('02:30', 'absent'))).toEqual([
      ...['not-known', 'swing-lost'],
    ]);
    expect(flows(...run(1, 8), level('l', '+1 08:01', 5))).toEqual(['not-known', 'assessed-too-long-ago']);
  });
  it('is met whatever hid the flow before that time or after the newest reading of it', () => {
    const swing = (when: string, tidaling: 'present' | 'absent') => reading(`s${when}`, when, { tidaling });
    const before = [clamped('c', '00:10'), unclamped('u', '00:20')];
    const after = [clamped('c', '08:00')];
    const lostBefore = [swing('00:10', 'present'), swing('00:20', 'absent'), swing('01:00', 'present')];
    const lostAfter = [swing('08:00', 'present'), swing('08:30', 'absent')];
    for (const hidden of [before, after, lostBefore, lostAfter])
      expect(flows(...run(1, 8), ...hidden)).toEqual(['met', null]);
  });
  it('looks at no reading that charts another sign of a leak', () => {
    const story = [START, setUp('00:00', 0), ...run(1, 8), grade('g', '09:00', 0)];
    const found = evidenceOf(story, BY_WEIGHT).criteria.find(({ criterion }) => criterion === 'air-flow');
    expect(found).toMatchObject({ flow: 10_000, below_ms: 7 * HOUR_MS });
    expect(flows(grade('g', '01:00', 0))).toEqual(['not-known', 'not-assessed']);
  });
  it('names the reading that is not below it, and none where there is none', () => {
    const find = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told], BY_WEIGHT).criteria.find(
        ({ criterion }) => criterion === 'air-flow',
      );
    expect(find(...run(1, 3), flow(4, 25))).toMatchObject({ flow: 25_000, below_ms: 0, entries: ['f4'] });
    expect(find()).toMatchObject({ flow: null, below_ms: null, entries: [] });
  });
  it('shows for how long, and names the readings', () => {
    const story = [START, setUp('00:00', 0), flow(1, 30), ...run(2, 9)];
    const found = evidenceOf(story, BY_WEIGHT).criteria.find(({ criterion }) => criterion === 'air-flow');
    expect(found).toMatchObject({ flow: 10_000, below_ms: 7 * HOUR_MS });
    expect(found?.entries).toEqual(['f1', 'f2', 'f3', 'f4', 'f5', 'f6', 'f7', 'f8', 'f9']);
  });
});

describe('fluid', () => {
  const fluid = (characters: readonly FluidCharacter[], of = UP_TO_450, more: readonly Told[] = []) =>
    standing(
      [
        ...[START, setUp('00:00', 0), ...more],
        ...characters.map((fluid_character, i) => reading(`c${i}`, time(i + 1), { fluid_character })),
      ],
      'fluid',
      of,
    );
  it.each([
    ['serous', ['met', null], ['met', null]],
    ['serosanguineous', ['not-known', 'not-named-by-the-source'], ['not-met', null]],
    ['sanguineous', ['not-met', null], ['not-met', null]],
    ['chylous', ['not-met', null], ['not-met', null]],
    ['purulent', ['not-met', null], ['not-met', null]],
    ['other', ['not-known', 'not-named-by-the-source'], ['not-known', 'not-named-by-the-source']],
  ] as const)(
    '%s: %j where it must not be bloody, chylous or purulent, %j where serous',
    (character, a, b) => {
      expect(fluid([character])).toEqual(a);
      expect(fluid([character], policy('vats-lobectomy-500-ml-2014'))).toEqual(b);
    },
  );
  it('names that reading, and none where there is none', () => {
    const behind = (...told: readonly Told[]) =>
      evidenceOf([START, setUp('00:00', 0), ...told]).criteria.find(({ criterion }) => criterion === 'fluid');
    const serous = reading('a', '01:00', { fluid_character: 'serous' });
    expect(behind(serous, level('l', '02:00', 5))).toMatchObject({ character: 'serous', entries: ['a'] });
    expect(behind()).toMatchObject({ character: null, entries: [] });
  });
  it('is that of the newest reading that charts it', () => {
    expect(fluid([])).toEqual(['not-known', 'not-assessed']);
    expect(fluid(['sanguineous', 'serous'])).toEqual(['met', null]);
    expect(fluid(['serous'], UP_TO_450, [level('l', '+1 01:01', 5)])).toEqual([
      ...['not-known', 'assessed-too-long-ago'],
    ]);
  });
});

describe('a policy', () => {
  const of = (more: object) => evidenceOf([placed('00:00', more), setUp('00:00', 0)]);
  it('says whom it was published for, beside how the drain stands to them', () => {
    expect(of({ indication: 'trauma' }).scope).toEqual([
      { about: 'population', policy: ['adult'], drain: 'adult', status: 'same' },
      { about: 'indication', policy: ['thoracic-surgery'], drain: 'trauma', status: 'differs' },
      { about: 'site', policy: ['pleural-left', 'pleural-right'], drain: 'pleural-left', status: 'same' },
    ]);
  });
  it('has a criterion for each figure that it states, and no other', () => {
    const named = (each: RemovalPolicy) =>
      evidenceOf([START, setUp('00:00', 0)], each).criteria.map(({ criterion }) => criterion);
    expect(named(UP_TO_450)).toEqual(['volume', 'air-leak', 'fluid']);
    expect(named({ ...UP_TO_450, fluid: null })).toEqual(['volume', 'air-leak']);
    expect(named(policy('lung-resection-flow-2023'))).toEqual(['air-flow', 'fluid']);
  });
  it('says nothing of a drain outside its scope, nor of one whose population is not stated', () => {
    expect(of({ indication: 'thoracic-surgery' }).criteria).toHaveLength(3);
    expect(of({}).criteria).toHaveLength(3);
    expect(of({}).scope).toContainEqual({
      ...{ about: 'indication', policy: ['thoracic-surgery'], drain: null, status: 'not-stated' },
    });
    expect(of({ population: 'paediatric' }).criteria).toEqual([]);
    expect(of({ population: undefined }).criteria).toEqual([]);
    expect(of({ indication: 'trauma' }).criteria).toEqual([]);
    expect(of({ site: 'mediastinal' }).criteria).toEqual([]);
  });
  it('leaves imaging and a clinician outstanding, whatever is met', () => {
    for (const each of REMOVAL_POLICIES) {
      const story = day(48, [
        ...[weighed('w', '00:00', 70), grade('g', '23:00', 0)],
        reading('c', '23:30', { fluid_character: 'serous' }),
      ]);
      expect(evidenceOf(story, each).outstanding).toEqual(['imaging', 'clinician']);
    }
  });
  it('has an id of its own and a source', () => {
    expect(new Set(REMOVAL_POLICIES.map(({ id }) => id)).size).toBe(REMOVAL_POLICIES.length);
    for (const { source, year } of REMOVAL_POLICIES) expect(source).toContain(String(year));
  });
  it('sees the drain as removed or not alike', () => {
    const out = says('out', '+1 00:00', 'removed', {});
    expect(volumeIn([...day(240), out])).toEqual(['met', null]);
  });
});
