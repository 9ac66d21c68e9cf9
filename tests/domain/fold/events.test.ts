/** What an event that does not count leaves as it was. */
import { describe, expect, it } from 'vitest';
import {
  clamped,
  dec,
  instilled,
  level,
  placed,
  reading,
  rowOf,
  says,
  setUp,
  type Told,
} from '../../support/drain-script.ts';

const DEVICE = { type: 'device', reference: 'Device/1' } as const;
/** Sent by a device whose clock ran far ahead: its time is in question, so it does not count. */
const questioned = (told: Told): Told => ({ ...told, author: DEVICE, recorded: '08:00' });
const START = [placed(), setUp('08:00', 0)];

describe('an event whose time is in question', () => {
  it.each<[string, Told]>([
    ['instils nothing', instilled('x', '08:30', 20)],
    ['clamps nothing', clamped('x', '08:30')],
    ['clamps nothing as a reading', reading('x', '08:30', { clamped: true })],
  ])('%s', (_, told) => {
    const { interval } = rowOf([...START, questioned(told), level('a', '09:00', 50)], 'a').volumes ?? {};
    expect(interval).toMatchObject({ drained: 50_000, instilled: 0, clamped: [] });
    const counted = rowOf([...START, told, level('a', '09:00', 50)], 'a').volumes?.interval;
    expect(counted).not.toEqual(interval);
  });

  it('switches no suction on, nor does it move the patient to another stay', () => {
    const on = says('x', '08:30', 'suction-changed', { source: 'on' });
    const read = reading('a', '09:00', {
      suction: { column_cmh2o: dec(20), bubbling: 'gentle' },
      seal: { level_cmh2o: dec(5) },
    });
    expect(rowOf([...START, on, read], 'a').negativity).toEqual({ value: 25_000 });
    expect(rowOf([...START, questioned(on), read], 'a').negativity).toMatchObject({
      reason: 'suction-source-not-charted',
    });
    const moved = says('y', '08:30', 'drain-updated', { encounter: { reference: 'Encounter/2' } });
    expect(rowOf([...START, questioned(moved), read], 'a').encounter).toBeNull();
  });
});
