import { describe, expect, it } from 'vitest';
import { decide } from '../../../src/domain/decide.ts';
import {
  at,
  corrected,
  entryOf,
  instilled,
  level,
  onDrain,
  placed,
  rowsIn,
  says,
  setUp,
  type Told,
  tell,
  voided,
  weighed,
} from '../../support/drain-script.ts';
import { DEFAULT_POLICY } from '../../support/policy.ts';
import { written } from '../../support/written.ts';

/** What the last entry of a story issues: drain (when not d1), key, version and status. */
function issuedBy(story: readonly Told[]): string[] {
  const last = tell(story).accepted.at(-1);
  return (last?.changes ?? []).flatMap(({ drain, issued }) =>
    issued.map(
      ({ key, version, status }) => `${drain === 'd1' ? '' : `${drain} `}${key} ${version} ${status}`,
    ),
  );
}

const all = (names: readonly string[], anchor: string, version: number, status: string) =>
  names.map((name) => `${name}.${anchor} ${version} ${status}`);
const DERIVED = [
  'net-drainage',
  'drainage-rate',
  'cumulative-drainage',
  ...[1, 4, 8, 12, 24].map((h) => `net-drainage-${h}h`),
];
/** Key of the clock hour that begins then. */
const clockHour = (time: string): string => {
  const from = Date.parse(at(time));
  return `net-drainage-hour.${DEFAULT_POLICY.nameOf(`hour\n${from}\n${from + 3_600_000}\nUTC`)}`;
};
const CHARTED = ['level', 'reading'];
const START: readonly Told[] = [placed(), setUp('08:00', 0)];
const THREE = [...START, level('a', '09:00', 50), level('b', '10:00', 80), level('c', '11:00', 90)];

describe('what an entry issues', () => {
  it('is all that it charts and gives, once, as final', () => {
    expect(issuedBy([...START, level('a', '09:00', 50)])).toEqual([
      ...all([...CHARTED, ...DERIVED], 'a', 1, 'final'),
      `${clockHour('08:00')} 1 final`,
    ]);
  });

  it('is nothing of the facts before it', () => {
    expect(issuedBy(THREE)).toEqual([
      ...all([...CHARTED, ...DERIVED], 'c', 1, 'final'),
      `${clockHour('10:00')} 1 final`,
    ]);
  });

  it('amends what a late entry changes, and only that', () => {
    // 85 mL at 10:30 lies on the line from 80 to 90: it splits the last interval and changes no sum over both parts.
    const issued = issuedBy([...THREE, level('late', '10:30', 85)]);
    const ofLate = all([...CHARTED, ...DERIVED], 'late', 1, 'final');
    expect(issued).toEqual([...ofLate, 'net-drainage.c 2 amended', 'drainage-rate.c 2 amended']);
  });

  it('corrects what a correction changes, in its own entry and after it, and nothing before it', () => {
    const issued = issuedBy([...THREE, corrected('b2', 'b', level('', '10:00', 85))]);
    expect(issued).toContain('level.b 2 corrected');
    expect(issued).toContain('net-drainage.c 2 corrected');
    expect(issued).not.toContain('cumulative-drainage.c 2 corrected');
    expect(issued.filter((line) => line.includes('.a '))).toEqual([]);
    expect(issued.every((line) => line.endsWith(' 2 corrected'))).toBe(true);
  });

  it('counts the versions of one fact on', () => {
    const once = [...THREE, corrected('b2', 'b', level('', '10:00', 85))];
    expect(issuedBy([...once, corrected('b3', 'b2', level('', '10:00', 70))])).toContain(
      'level.b 3 corrected',
    );
  });

  it('withdraws every fact of a withdrawn entry and corrects its neighbours', () => {
    const issued = issuedBy([...THREE, voided('v', 'b')]);
    expect(issued.filter((line) => line.includes('.b ')).sort()).toEqual(
      all([...CHARTED, ...DERIVED], 'b', 2, 'entered-in-error').sort(),
    );
    expect(issued).toContain('net-drainage.c 2 corrected');
    expect(issued.filter((line) => line.includes('.a '))).toEqual([]);
  });

  it('withdraws a fact that is no longer derived, and counts on when it comes back', () => {
    // A fall at 10:00 leaves c without a rate; the correction gives it one again.
    const fell = [
      ...START,
      level('a', '09:00', 50),
      level('b', '10:00', 80),
      corrected('b2', 'b', level('', '10:00', 20)),
    ];
    expect(issuedBy(fell)).toContain('drainage-rate.b 2 entered-in-error');
    const back = issuedBy([...fell, corrected('b3', 'b2', level('', '10:00', 80))]);
    expect(back).toContain('drainage-rate.b 3 corrected');
    expect(back).toContain('net-drainage.b 3 corrected');
  });

  it('amends the rise that a fall casts doubt on, though it lies before the entry', () => {
    const issued = issuedBy([
      ...START,
      level('a', '09:00', 50),
      level('b', '10:00', 80),
      level('c', '11:00', 20),
    ]);
    expect(issued).toContain('net-drainage.b 2 amended');
    expect(issued).toContain('net-drainage.c 1 final');
    expect(issued.filter((line) => line.includes('.a '))).toEqual([]);
  });

  it('issues nothing twice for a late entry that changes nothing', () => {
    expect(issuedBy([...THREE, says('t', '08:30', 'tube-manipulated', { what: 'milked' })])).toEqual([]);
  });

  it('moves with its entry in time under the same name', () => {
    const issued = issuedBy([...THREE, corrected('b2', 'b', level('', '10:15', 80))]);
    expect(issued).toContain('level.b 2 corrected');
    expect(issued).toContain('drainage-rate.b 2 corrected');
    expect(issued.some((line) => line.endsWith('entered-in-error'))).toBe(false);
  });

  it('keeps the digits of a correction that changes only them', () => {
    expect(issuedBy([...THREE, corrected('b2', 'b', level('', '10:00', '80.0'))])).toEqual([
      'level.b 2 corrected',
    ]);
  });

  it('amends a net when a flush comes late, from its interval on', () => {
    const issued = issuedBy([...THREE, instilled('f', '09:30', 10)]);
    expect(issued).toContain('instilled-volume.f 1 final');
    expect(issued).toContain('net-drainage.b 2 amended');
    expect(issued).not.toContain('net-drainage.c 2 amended');
    expect(issued).toContain('cumulative-drainage.c 2 amended');
  });
});

describe('a decision', () => {
  it('changes nothing until it is entered, and is the same when asked again', () => {
    const { subject } = tell(THREE);
    const late = entryOf(level('late', '09:30', 55), (subject.get('d1')?.head ?? 0) + 1);
    const before = written([
      rowsIn(subject),
      subject.get('d1')?.head,
      [...(subject.get('d1')?.chains.keys() ?? [])],
    ]);
    const first = decide(subject, late, DEFAULT_POLICY);
    expect(decide(subject, late, DEFAULT_POLICY)).toEqual(first);
    const after = written([
      rowsIn(subject),
      subject.get('d1')?.head,
      [...(subject.get('d1')?.chains.keys() ?? [])],
    ]);
    expect(after).toBe(before);
  });
});

describe('the patient of a drain', () => {
  const linked = says('link', '08:00', 'drain-updated', { patient: { reference: 'Patient/1' } });

  it('linked late re-issues every fact', () => {
    const issued = issuedBy([...THREE, linked]);
    const before = tell(THREE).accepted.flatMap(({ changes }) =>
      changes.flatMap((c) => c.issued.map(({ key }) => key)),
    );
    expect(issued.sort()).toEqual(before.map((key) => `${key} 2 amended`).sort());
  });

  it('linked again as it was re-issues nothing', () => {
    expect(issuedBy([...THREE, linked, { ...linked, key: 'again' }])).toEqual([]);
  });

  it('shares a weight: taken on another drain it gives this one its weight-indexed rates', () => {
    const other = {
      ...placed('08:00', { patient: { reference: 'Patient/1' } }),
      key: 'placed-2',
      drain: 'd2',
    };
    const issued = issuedBy([...THREE, linked, other, onDrain('d2', weighed('w', '09:00', 70))]);
    expect(issued).toEqual([
      'd2 body-weight.w 1 final',
      'drainage-rate-per-kg.b 1 final',
      'drainage-rate-per-kg.c 1 final',
    ]);
  });
});
