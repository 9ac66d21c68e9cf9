/** Which closed windows an entry issues: hours, shifts and days of a drain, and of a patient with several. */
import { describe, expect, it } from 'vitest';
import type { Span } from '../../../src/domain/fold/interval.ts';
import type { Calendar } from '../../../src/domain/vocabulary/configuration.ts';
import { DEFAULT_TABLE } from '../../../src/rules/default-table.ts';
import { asDrain } from '../../support/advice.ts';
import {
  at,
  corrected,
  instilled,
  level,
  placed,
  says,
  setUp,
  type Told,
  tell,
} from '../../support/drain-script.ts';
import { policyOf, UTC_CALENDAR } from '../../support/policy.ts';

const WINDOW = /^(patient-)?net-drainage-(hour|shift|day)$/;

/** The windows that the last entry issues, in short: kind, span, mL, status. */
function issued(story: readonly Told[], calendar: Calendar = UTC_CALENDAR): string[] {
  const { accepted } = tell(story, new Map(), policyOf(DEFAULT_TABLE, undefined, calendar));
  return (accepted.at(-1)?.changes ?? []).flatMap(({ drain, issued: facts }) =>
    facts.flatMap(({ fact, status, version }) => {
      if (!WINDOW.test(fact.name) || !('from' in fact.effective) || !('quantity' in fact.value)) return [];
      const { from, to = '' } = fact.effective;
      const least = fact.value.at_least === true ? '>=' : '';
      const kind = fact.name.replace('net-drainage-', '');
      const on = drain === 'd1' ? '' : `${drain} `;
      return `${on}${kind} ${from.slice(8, 16)}-${to.slice(8, 16)} ${least}${fact.value.quantity} ${status} ${version}`;
    }),
  );
}

const START = [placed('06:00', { patient: { reference: 'Patient/1' } }), setUp('06:00', 0)];
const quarters = (from: number, to: number): Told[] =>
  Array.from({ length: to - from + 1 }, (_, n) => {
    const minutes = (from + n) * 15;
    const time = `${String(Math.floor(minutes / 60)).padStart(2, '0')}:${String(minutes % 60).padStart(2, '0')}`;
    return level(time, time, (from + n - 24) * 5);
  });

describe('a reading', () => {
  it('issues the hours that it closes, and those once', () => {
    expect(issued([...START, ...quarters(25, 27)])).toEqual([]);
    expect(issued([...START, ...quarters(25, 28)])).toEqual([
      'hour 01T06:00-01T07:00 20 final 1',
      'shift 28T19:00-01T07:00 20 final 1',
      'day 28T07:00-01T07:00 20 final 1',
    ]);
    expect(issued([...START, ...quarters(25, 29)])).toEqual([]);
  });

  it('after a gap longer than policy allows gives no hour in it, and a lower bound of what holds it', () => {
    const story = [...START, level('a', '06:30', 10), level('b', '18:00', 300), level('c', '19:00', 310)];
    expect(issued(story.slice(0, -1))).toEqual([
      'hour 01T06:00-01T07:00 >=10 final 1',
      'shift 28T19:00-01T07:00 >=10 final 1',
      'day 28T07:00-01T07:00 >=10 final 1',
    ]);
    expect(issued(story)).toEqual([
      'hour 01T18:00-01T19:00 10 final 1',
      'shift 01T07:00-01T19:00 >=10 final 1',
    ]);
  });

  it('years after the one before it asks for the windows at both ends only', () => {
    const story = [
      placed('2001-03-01T06:00:00Z'),
      setUp('2001-03-01T06:00:00Z', 0),
      level('a', '2001-03-01T06:30:00Z', 10),
      level('b', '2026-03-01T08:00:00Z', 300),
    ];
    expect(issued(story)).toHaveLength(3);
    let asked = 0;
    const policy = policyOf(DEFAULT_TABLE);
    const counting = {
      ...policy,
      windowsOver(over: Span) {
        const windows = policy.windowsOver(over);
        asked += windows.length;
        return windows;
      },
    };
    tell(story, new Map(), counting);
    expect(asked).toBeLessThan(50); // 219,000 clock hours lie between
  });

  it('that comes late, or is corrected, issues again what changed and nothing else', () => {
    const story = [...START, ...quarters(25, 33)];
    // 22 mL at 07:06 lies on the line from 20 at 07:00 to 25 at 07:15.
    expect(issued([...story, level('late', '07:06', 22)])).toEqual([]);
    expect(issued([...story, corrected('c', '07:00', level('', '07:00', 22))])).toEqual([
      'hour 01T06:00-01T07:00 22 corrected 2',
      'hour 01T07:00-01T08:00 18 corrected 2',
      'shift 28T19:00-01T07:00 22 corrected 2',
      'day 28T07:00-01T07:00 22 corrected 2',
    ]);
  });
});

describe('a removal', () => {
  it('closes what is open, with what is known', () => {
    const story = [...START, ...quarters(25, 30), says('out', '07:40', 'removed', {})];
    expect(issued(story)).toEqual([
      'hour 01T07:00-01T08:00 >=10 final 1',
      'shift 01T07:00-01T19:00 >=10 final 1',
      'day 01T07:00-02T07:00 >=10 final 1',
    ]);
  });

  it('closes an hour of which nothing but a flush is known', () => {
    const story = [
      ...START,
      ...quarters(25, 28),
      instilled('f', '08:30', 20),
      says('out', '08:40', 'removed', {}),
    ];
    expect(issued(story)).toContain('hour 01T08:00-01T09:00 >=-20 final 1');
  });
});

describe('a patient with two drains', () => {
  const left = asDrain('left', [...START, level('a', '07:00', 30)]);
  const right = asDrain('right', [...START.map((told) => ({ ...told })), level('a', '07:10', 70)]);

  it('is summed when the later of both has closed the window, and kept with the drain that was placed first', () => {
    expect(issued(left).filter((line) => line.includes('patient'))).toEqual([]);
    expect(issued([...left, ...right]).filter((line) => line.includes('patient'))).toEqual([
      'left patient-hour 01T06:00-01T07:00 90 final 1',
      'left patient-shift 28T19:00-01T07:00 90 final 1',
      'left patient-day 28T07:00-01T07:00 90 final 1',
    ]);
  });

  it('is summed anew when one of them is corrected', () => {
    const story = [...left, ...right, ...asDrain('left', [corrected('c', 'left-a', level('', '07:00', 40))])];
    expect(issued(story)).toContain('left patient-hour 01T06:00-01T07:00 100 corrected 2');
  });

  it('is summed when the first level of one that was placed late closes the hour of its placement', () => {
    const gone = asDrain('left', [
      ...START,
      level('a', '11:00', 10),
      level('b', '11:33', 45),
      says('out', '12:00', 'removed', {}),
    ]);
    const late = [
      placed('11:45', { patient: { reference: 'Patient/1' } }),
      level('early', '10:15', 40),
      says('look', '12:28', 'reading', { clamped: false }),
      level('a', '12:30', 75),
    ];
    expect(issued([...gone, ...asDrain('right', late)])).toContain(
      'left patient-hour 01T11:00-01T12:00 >=35 final 1',
    );
  });

  it('is a lower bound that names the drain of which too little is known', () => {
    const lacking = [...asDrain('right', [START[0] as Told, setUp('06:20', 0), level('a', '07:20', 60)])];
    const { accepted } = tell([...left, ...lacking]);
    const facts = accepted.at(-1)?.changes.flatMap((change) => change.issued.map(({ fact }) => fact)) ?? [];
    const hour = facts.find(({ name }) => name === 'patient-net-drainage-hour');
    expect(hour).toMatchObject({
      value: { quantity: '70', at_least: true },
      note: 'Clock hour of UTC. Not covered: right (before-first-level).',
    });
  });
});

describe('a zone whose clock changes (tz database, Europe/Berlin, 29 March and 25 October 2026)', () => {
  const berlin: Calendar = { zone: 'Europe/Berlin', dayStart: 420, shiftStarts: [420] };
  const night = (day: string): Told[] => [
    placed(`2026-${day}T04:00:00Z`),
    setUp(`2026-${day}T04:00:00Z`, 0),
    ...Array.from({ length: 28 }, (_, n) => {
      const time = new Date(Date.parse(`2026-${day}T05:00:00Z`) + n * 3_600_000).toISOString().slice(0, 19);
      return level(`h${n}`, `${time}Z`, (n + 1) * 10);
    }),
  ];
  const days = (day: string) =>
    tell(night(day), new Map(), policyOf(DEFAULT_TABLE, undefined, berlin)).accepted.flatMap(({ changes }) =>
      changes.flatMap(({ issued: all }) =>
        all.flatMap(({ fact }) => (fact.name === 'net-drainage-day' ? fact : [])),
      ),
    );

  it('has a day of 23 hours and one of 25: at 10 mL an hour, 230 and 250 mL', () => {
    expect(days('03-28').at(-1)).toMatchObject({
      effective: { from: '2026-03-28T06:00:00Z', to: '2026-03-29T05:00:00Z' },
      value: { quantity: '230' },
    });
    expect(days('10-24').at(-1)).toMatchObject({
      effective: { from: '2026-10-24T05:00:00Z', to: '2026-10-25T06:00:00Z' },
      value: { quantity: '250' },
    });
  });
});

it('names a window by its kind, span and zone: the same in every ledger', () => {
  const keyOf = (zone: string) => {
    const { accepted } = tell(
      [...START, level('a', '07:00', 30)],
      new Map(),
      policyOf(DEFAULT_TABLE, undefined, { ...UTC_CALENDAR, zone }),
    );
    const facts = accepted.at(-1)?.changes.flatMap(({ issued: all }) => all) ?? [];
    return facts.find(({ fact }) => fact.name === 'net-drainage-hour')?.key;
  };
  expect(keyOf('UTC')).toBe(keyOf('UTC'));
  expect(keyOf('Europe/Lisbon')).not.toBe(keyOf('UTC'));
  expect(at('07:00')).toBe('2026-03-01T07:00:00Z');
});
