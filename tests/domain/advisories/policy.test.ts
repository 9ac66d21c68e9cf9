/** A change of the rule table counts from its own time: what was judged before it stays as it was. */
import { describe, expect, it } from 'vitest';
import { advise } from '../../../src/domain/book/advise.ts';
import { type EpochMs, epochMs } from '../../../src/domain/numbers/units.ts';
import type { Rule } from '../../../src/domain/vocabulary/rule.ts';
import { DEFAULT_SETTINGS } from '../../../src/domain/vocabulary/settings.ts';
import { createPolicy } from '../../../src/record/policy.ts';
import { hourly, raisedValue, ruleCalled, tableOf } from '../../support/advice.ts';
import { at, tell } from '../../support/drain-script.ts';
import { UTC_CALENDAR } from '../../support/policy.ts';

const ms = (time: string): EpochMs => epochMs(Date.parse(at(time)));
const ROW = ruleCalled('atls-ongoing');
const row = (more: Partial<Rule>): Rule => ({ ...ROW, ...more }) as Rule;

/** 250 mL in each of six hours from 08:00; the source prints 200 mL/h. */
const STORY = hourly([250, 250, 250, 250, 250, 250], { indication: 'trauma' });

const twoTables = (first: readonly Rule[], start: string, second: readonly Rule[], from: string) =>
  createPolicy(DEFAULT_SETTINGS, [
    { from: ms(start), rules: tableOf(...first), calendar: UTC_CALENDAR },
    { from: ms(from), rules: tableOf(...second), calendar: UTC_CALENDAR },
  ]);

function episodes(second: readonly Rule[], from: string) {
  const policy = twoTables([ROW], '07:00', second, from);
  const { subject } = tell(STORY, new Map(), policy);
  return advise([...subject.values()], policy.rules).episodes;
}

describe('a rule table that follows another', () => {
  it('with the same row goes on with what stood', () => {
    expect(episodes([ROW], '12:00')).toMatchObject([{ raised: { at_text: at('10:00') }, ended_at: null }]);
  });

  it('that switches a row off, or lacks it, ends what stood at the first level under it', () => {
    const ended = [{ raised: { at_text: at('10:00') }, ended_at: at('12:00') }];
    expect(episodes([row({ on: false })], '11:30')).toMatchObject(ended);
    expect(episodes([], '12:00')).toMatchObject(ended);
  });

  it('that switches a row on raises from its own time, not before it', () => {
    const policy = twoTables([], '07:00', [ROW], '12:30');
    const { subject } = tell(STORY, new Map(), policy);
    const found = advise([...subject.values()], policy.rules).episodes;
    expect(found).toMatchObject([{ raised: { at_text: at('13:00') } }]);
    expect(found.map(raisedValue)).toEqual([250]);
  });

  it('whose row cannot be run ends nothing: what stood goes on, and what is lacking is told', () => {
    const anybody = row({ indications: null, populations: null });
    const policy = twoTables([anybody], '07:00', [{ ...anybody, populations: ['adult'] }], '12:00');
    const unknown = hourly([250, 250, 250, 10, 10, 10], { population: undefined });
    const { subject } = tell(unknown, new Map(), policy);
    expect(advise([...subject.values()], policy.rules)).toMatchObject({
      episodes: [{ raised: { at_text: at('10:00') }, ended_at: null }],
      not_assessable: [{ reason: 'population-not-stated', seen: null, now: true }],
    });
  });

  it('that raises the number ends what no longer crosses, and keeps the row under which it was raised', () => {
    const higher = row({ threshold: { ...ROW.threshold, thousandths: 300_000 } as Rule['threshold'] });
    expect(episodes([higher], '12:00')).toMatchObject([
      { rule: { threshold: ROW.threshold }, ended_at: at('12:00') },
    ]);
  });

  it('holds before its time as well where it is the first', () => {
    const policy = createPolicy(DEFAULT_SETTINGS, [
      { from: ms('+1 08:00'), rules: tableOf(ROW), calendar: UTC_CALENDAR },
    ]);
    const { subject } = tell(STORY, new Map(), policy);
    expect(advise([...subject.values()], policy.rules).episodes).toHaveLength(1);
  });

  it('leaves it to the first to hold before its own time', () => {
    const policy = twoTables([ROW], '+1 08:00', [], '+2 08:00');
    const { subject } = tell(STORY, new Map(), policy);
    expect(advise([...subject.values()], policy.rules).episodes).toMatchObject([
      { raised: { at_text: at('10:00') }, ended_at: null },
    ]);
  });
});

describe('a calendar that follows another', () => {
  const inBerlin = { zone: 'Europe/Berlin', dayStart: 360, shiftStarts: [360] };
  const policy = createPolicy(DEFAULT_SETTINGS, [
    { from: ms('07:00'), rules: tableOf(), calendar: { ...UTC_CALENDAR, shiftStarts: [420] } },
    { from: ms('+1 12:00'), rules: tableOf(), calendar: inBerlin },
  ]);

  it('cuts the windows that begin under it; those that began before run to their end', () => {
    const over = { from: ms('+1 08:00'), to: ms('+2 08:00') };
    const days = policy.windowsOver(over).filter(({ kind }) => kind === 'day');
    expect(days.map(({ from, to, zone }) => [from, to, zone])).toEqual([
      [ms('+1 07:00'), ms('+2 07:00'), 'UTC'],
      [ms('+2 05:00'), ms('+3 05:00'), 'Europe/Berlin'],
    ]);
  });
});
