import { describe, expect, it } from 'vitest';
import type { Item } from '../../../src/domain/fold/chains.ts';
import { isSamePatient, patientKey } from '../../../src/domain/fold/drain.ts';
import { compareItems } from '../../../src/domain/fold/order.ts';
import { epochMs } from '../../../src/domain/numbers/units.ts';
import type { Statement } from '../../../src/domain/vocabulary/entry.ts';
import {
  at,
  bookOf,
  corrected,
  dec,
  level,
  NURSE,
  placed,
  rowOf,
  rowsOf,
  says,
  setUp,
  type Told,
  voided,
  WET_UNIT,
} from '../../support/drain-script.ts';

const viewOf = (story: readonly Told[]) => bookOf(story).view;
const updated = (key: string, time: string, facts: object) => says(key, time, 'drain-updated', facts);

describe('what is known of a drain', () => {
  it('is what its placement says and later entries add or change, in order of their time', () => {
    const story = [
      updated('late', '10:00', { population: 'paediatric' }),
      updated('early', '09:00', { population: 'adult', indication: 'trauma', injured_at: at('07:00') }),
      placed('08:00', { population: 'adult', chest_closed_at: at('06:00') }),
    ];
    expect(viewOf(story)).toMatchObject({
      site: 'pleural-left',
      tubes: ['A'],
      placed_at: at('08:00'),
      removed_at: null,
      population: 'paediatric',
      indication: 'trauma',
      injured_at: at('07:00'),
      chest_closed_at: at('06:00'),
    });
  });

  it('is little while no placement stands', () => {
    expect(viewOf([setUp('08:00', 0)])).toMatchObject({
      site: null,
      tubes: [],
      placed_at: null,
      weights: [],
    });
    expect(viewOf([placed(), voided('v', 'placed')])).toMatchObject({ site: null, placed_at: null });
    expect(viewOf([setUp('08:00', 0), says('out', '09:00', 'removed', {})]).removed_at).toBeNull();
  });

  it('is not unsaid by an entry that leaves it out', () => {
    const story = [
      placed('08:00', { indication: 'trauma' }),
      updated('u', '09:00', { population: 'paediatric' }),
    ];
    expect(viewOf(story)).toMatchObject({ indication: 'trauma', population: 'paediatric' });
  });

  it('has the first of two removals', () => {
    const removals = ['12:00', '11:00'].map((time) => says(`r${time}`, time, 'removed', {}));
    expect(viewOf([placed(), ...removals]).removed_at).toBe(at('11:00'));
    expect(viewOf([placed(), says('out', '08:00', 'removed', {})]).removed_at).toBe(at('08:00'));
  });

  it('follows a placement that is corrected', () => {
    const moved = corrected('p2', 'placed', placed('07:00', { site: 'mediastinal', tubes: ['A', 'B'] }));
    expect(viewOf([placed(), moved])).toMatchObject({
      site: 'mediastinal',
      tubes: ['A', 'B'],
      placed_at: at('07:00'),
    });
  });

  it('holds an encounter from its entry on, and the last of them as its own', () => {
    const [one, two] = [
      { encounter: { reference: 'Encounter/1' } },
      { encounter: { reference: 'Encounter/2' } },
    ];
    const story = [
      placed('08:00', one),
      level('a', '09:00', 1),
      updated('u', '10:00', two),
      level('b', '10:00', 2),
    ];
    expect(rowOf(story, 'a').encounter).toEqual(one.encounter);
    expect(rowOf(story, 'b').encounter).toEqual(two.encounter);
    expect(viewOf(story).encounter).toEqual(two.encounter);
  });
});

describe('the patient of two drains is the same', () => {
  it.each([
    ['by reference', { reference: 'Patient/1', identifier: { system: 's', value: '1' } }, 'Patient/1'],
    ['else by identifier', { identifier: { system: 's', value: '1' } }, 's|1'],
    ['never while none is linked', undefined, null],
    ['never by an empty reference', {}, null],
  ])('%s', (_, patient, key) => {
    expect(patientKey(patient)).toBe(key);
  });
});

describe('the order of what is charted at one minute', () => {
  const item = (statement: Statement, value: string, minutes = 0, system = 's'): Item => ({
    id: value,
    identifier: { system, value },
    at: epochMs(minutes * 60_000),
    content: { effective_at: at('08:00'), ...statement },
    author: NURSE,
    correction: null,
    received_as: null,
    recorded_ms: epochMs(0),
  });
  const unit = { profile: WET_UNIT.id, unit_profile: WET_UNIT };
  const sorted = (items: readonly Item[]) => [...items].sort(compareItems).map(({ id }) => id);

  it('is set-up, readings, unit change, suction and clamp, weight, instilled, sampled, removed', () => {
    const inOrder = [
      item({ kind: 'placed', site: 'pericardial', tubes: ['A'] }, '9'),
      item({ kind: 'set-up', ...unit }, '8'),
      item({ kind: 'reading' }, '7'),
      item({ kind: 'unit-changed', ...unit }, '6'),
      item({ kind: 'clamped' }, '5'),
      item({ kind: 'weighed', weight_kg: dec(70) }, '4'),
      item({ kind: 'instilled', volume_ml: dec(1), purpose: 'flush' }, '3'),
      item({ kind: 'sampled', volume_ml: dec(1) }, '2'),
      item({ kind: 'removed' }, '1'),
    ];
    expect(sorted([...inOrder].reverse())).toEqual(inOrder.map(({ id }) => id));
  });

  it('then goes by the code points of system and value, not by UTF-16 or the language', () => {
    const readings = ['b', 'a', 'B', 'ab', 'é', '\u{1F600}', '\uE000'].map((value) =>
      item({ kind: 'reading' }, value),
    );
    const inOrder = ['B', 'a', 'ab', 'b', 'é', '\uE000', '\u{1F600}'];
    expect(sorted(readings)).toEqual(inOrder);
    expect(sorted(readings.toReversed())).toEqual(inOrder);
    expect(sorted([item({ kind: 'reading' }, 'a', 0, 't'), item({ kind: 'reading' }, 'z', 0, 's')])).toEqual([
      'z',
      'a',
    ]);
  });

  it('comes after the time', () => {
    expect(
      sorted([
        item({ kind: 'placed', site: 'pericardial', tubes: [] }, 'later', 1),
        item({ kind: 'removed' }, 'earlier'),
      ]),
    ).toEqual(['earlier', 'later']);
  });

  it('stays that of the chart when two clamp events share a minute: the later identifier holds', () => {
    const events = [says('k1', '09:00', 'unclamped', {}), says('k0', '09:00', 'clamped', {})];
    const story = [placed(), setUp('08:00', 0), ...events, level('a', '10:00', 10)];
    expect(rowsOf(story).map(({ item }) => item.id)).toEqual(['placed', 'set-up', 'k0', 'k1', 'a']);
    expect(rowOf(story, 'a').volumes?.interval.clamped).toEqual([]);
  });
});

describe('two names of a patient', () => {
  const mrn = (value: string, system = 'urn:example:mrn') => ({ identifier: { system, value } });
  it.each([
    ['the same reference', { reference: 'Patient/1' }, { reference: 'Patient/1' }, true],
    ['another reference', { reference: 'Patient/1' }, { reference: 'Patient/2' }, false],
    [
      'another reference, whatever else',
      { reference: 'Patient/1', ...mrn('7') },
      { reference: 'Patient/2', ...mrn('7') },
      false,
    ],
    ['the same identifier', mrn('7'), mrn('7'), true],
    ['the same beside a reference', mrn('7'), { reference: 'Patient/1', ...mrn('7') }, true],
    ['another value', mrn('7'), mrn('8'), false],
    ['a value of another system', mrn('7'), mrn('7', 'urn:example:visit'), false],
    ['nothing that both have', { reference: 'Patient/1' }, mrn('7'), false],
    ['no name', mrn('7'), undefined, false],
    ['nothing on either side', {}, {}, false],
  ])('%s', (_, a, b, same) => {
    expect(isSamePatient(a, b)).toBe(same);
  });
});
