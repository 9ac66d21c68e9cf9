/** What an entry makes of a device: where it was, and why something cannot be taken. All of it is invented. */
import { describe, expect, it } from 'vitest';
import {
  assignedAt,
  type DeviceBody,
  type DeviceBook,
  isRegistered,
  timeChanged,
  UNKNOWN_DEVICE,
} from '../../../src/domain/devices/device.ts';
import { type DeviceRefusal, deviceAfter } from '../../../src/domain/devices/device-after.ts';
import { epochMs } from '../../../src/domain/numbers/units.ts';
import { NURSE } from '../../support/drain-script.ts';

const id = (value: string) => ({ system: 'urn:example:ward', value });
const at = (time: string) => `2026-03-01T${time}:00Z`;
const ms = (time: string) => epochMs(Date.parse(at(time)));
type Said<T> = T extends DeviceBody ? Omit<T, 'identifier' | 'author' | 'effective_at' | 'reason'> : never;
const entry = (key: string, said: Said<DeviceBody>): DeviceBody =>
  ({
    identifier: id(key),
    author: NURSE,
    effective_at: at('07:00'),
    reason: 'told so',
    ...said,
  }) as DeviceBody;

const registered = entry('r', { kind: 'registered', device: id('m7'), type: 'monitor' });
const on = (key: string, drain: string, from: string, to?: string) =>
  entry(key, { kind: 'assigned', drain, from: at(from), ...(to === undefined ? {} : { to: at(to) }) });
const closed = (key: string, target: string, to: string) =>
  entry(key, { kind: 'closed', target: id(target), to: at(to) });
const moved = (key: string, target: string, drain: string, from: string) =>
  entry(key, { kind: 'corrected', target: id(target), replacement: { drain, from: at(from) } });
const inError = (key: string, target: string) => entry(key, { kind: 'entered-in-error', target: id(target) });
const retired = (key: string, from: string) => entry(key, { kind: 'retired', from: at(from) });

function madeOf(...entries: readonly DeviceBody[]): DeviceBook {
  return entries.reduce<DeviceBook>((book, each) => {
    const next = deviceAfter(book, each);
    if ('refused' in next) throw new Error(`${each.identifier.value}: ${next.refused}`);
    return next;
  }, UNKNOWN_DEVICE);
}
function refusal(...entries: readonly DeviceBody[]): DeviceRefusal {
  const last = entries.at(-1);
  const next = last && deviceAfter(madeOf(...entries.slice(0, -1)), last);
  if (next === undefined || !('refused' in next)) throw new Error('it was taken');
  return next;
}
const drainAtTimes = (book: DeviceBook, ...times: readonly string[]) =>
  times.map((time) => assignedAt(book, ms(time))?.drain ?? null);

describe('where a device was', () => {
  it('is its drain from a start, included, to an end, excluded', () => {
    const book = madeOf(registered, on('a', 'd1', '08:00', '09:00'), on('b', 'd2', '09:00'));
    expect(drainAtTimes(book, '07:59', '08:00', '08:59', '09:00', '23:59')).toEqual([
      null,
      'd1',
      'd1',
      'd2',
      'd2',
    ]);
  });

  it('ends where it is closed, once', () => {
    const begun = [registered, on('a', 'd1', '08:00'), closed('end', 'a', '10:00')];
    expect(drainAtTimes(madeOf(...begun), '09:59', '10:00')).toEqual(['d1', null]);
    expect(refusal(...begun, closed('again', 'a', '11:00'))).toMatchObject({
      refused: 'already-closed',
      pointer: '/target',
      of: 'd1',
      mend: `it ended at ${at('10:00')}: correct its newest form, urn:example:ward|end`,
    });
  });

  it('is what its newest correction says, which must name the form before it', () => {
    const said = [registered, on('a', 'd1', '08:00'), moved('a2', 'a', 'd2', '08:30')];
    const book = madeOf(...said);
    expect(drainAtTimes(book, '08:15', '08:30')).toEqual([null, 'd2']);
    expect(book.stays).toMatchObject([
      { identifier: id('a'), end: id('a2'), members: [id('a'), id('a2')], void: false },
    ]);
    expect(refusal(...said, moved('a3', 'a', 'd3', '08:00'))).toMatchObject({
      refused: 'not-the-chain-end',
      value: 'urn:example:ward|a',
      mend: 'correct its newest form, urn:example:ward|a2',
      of: 'd2',
    });
    expect(drainAtTimes(madeOf(...said, moved('a3', 'a2', 'd3', '08:00')), '08:15')).toEqual(['d3']);
  });

  it('is nowhere once that was in error, for ever', () => {
    const said = [registered, on('a', 'd1', '08:00'), inError('x', 'a')];
    expect(drainAtTimes(madeOf(...said), '08:30')).toEqual([null]);
    expect(refusal(...said, closed('end', 'a', '10:00'))).toMatchObject({
      refused: 'already-void',
      mend: 'it was entered in error, which is final: chart it anew',
    });
    // Its time is free again.
    expect(drainAtTimes(madeOf(...said, on('b', 'd2', '08:00')), '08:30')).toEqual(['d2']);
  });

  it('keeps that its clock was looked at, until a correction says otherwise', () => {
    const checked = entry('a', { kind: 'assigned', drain: 'd1', from: at('08:00'), clock_checked: true });
    expect(madeOf(registered, checked, closed('end', 'a', '09:00')).stays[0]?.clock_checked).toBe(true);
    expect(madeOf(registered, checked, moved('a2', 'a', 'd1', '08:00')).stays[0]).not.toHaveProperty(
      'clock_checked',
    );
  });

  it('changed over all the time that it was said before or is said now', () => {
    const before = madeOf(registered, on('a', 'd1', '08:00', '09:00'), on('b', 'd1', '12:00'));
    const now = deviceAfter(before, moved('a2', 'a', 'd2', '08:30')) as DeviceBook | DeviceRefusal;
    expect('refused' in now && now).toMatchObject({ refused: 'overlaps', of: 'd1' });
    const later = deviceAfter(before, closed('end', 'b', '13:00')) as DeviceBook;
    expect(timeChanged(before, later)).toEqual({ from: ms('12:00'), to: Infinity });
    expect(timeChanged(before, before)).toBe(null);
    const added = deviceAfter(before, on('c', 'd2', '10:00', '11:00')) as DeviceBook;
    expect(timeChanged(before, added)).toEqual({ from: ms('10:00'), to: ms('11:00') });
  });
});

describe('a device is in one place at a time', () => {
  const there = [registered, on('a', 'd1', '08:00', '10:00')];
  it.each<[string, string | undefined, string]>([
    ['08:30', '09:00', 'within'],
    ['07:00', '11:00', 'around'],
    ['07:00', '08:01', 'into its start'],
    ['09:59', undefined, 'into its end'],
  ])('%s to %s is refused: %s', (from, to, _) => {
    expect(refusal(...there, on('b', 'd2', from, to))).toEqual({
      refused: 'overlaps',
      pointer: '/from',
      value: at(from),
      mend: `urn:example:ward|a has the device on drain d1 from ${at('08:00')} to ${at('10:00')}: close or correct that one first, newest form urn:example:ward|a`,
      of: 'd1',
    });
  });

  it('may follow at once, before or after', () => {
    const book = madeOf(...there, on('b', 'd2', '10:00'), on('c', 'd3', '07:00', '08:00'));
    expect(drainAtTimes(book, '07:30', '08:00', '10:00')).toEqual(['d3', 'd1', 'd2']);
  });

  it('says of a correction that its replacement is in the way of one that is open', () => {
    const both = [...there, on('b', 'd2', '10:00')];
    expect(refusal(...both, moved('a2', 'a', 'd1', '09:00'))).toMatchObject({
      refused: 'overlaps',
      pointer: '/replacement/from',
      mend: `urn:example:ward|b has the device on drain d2 from ${at('10:00')} and is open: close or correct that one first, newest form urn:example:ward|b`,
      of: 'd2',
    });
  });

  it.each([
    ['08:00', 'at once'],
    ['07:00', 'before'],
  ])('ends after it starts: %s is %s', (to) => {
    expect(refusal(registered, on('a', 'd1', '08:00', to))).toMatchObject({
      refused: 'ends-before-it-starts',
      pointer: '/to',
      value: at(to),
      of: 'd1',
    });
    expect(refusal(registered, on('a', 'd1', '08:00'), closed('end', 'a', to)).pointer).toBe('/to');
    const replacement = { drain: 'd1', from: at('08:00'), to: at(to) };
    const corrected = entry('a2', { kind: 'corrected', target: id('a'), replacement });
    expect(refusal(registered, on('a', 'd1', '06:00'), corrected).pointer).toBe('/replacement/to');
  });
});

describe('out of use', () => {
  it('is on no drain, can be put on none, and comes back', () => {
    const out = [registered, retired('out', '08:00')];
    expect(drainAtTimes(madeOf(...out), '09:00')).toEqual([null]);
    expect(refusal(...out, on('a', 'd1', '09:00'))).toMatchObject({
      refused: 'overlaps',
      mend: `urn:example:ward|out has the device out of use from ${at('08:00')} and is open: close or correct that one first, newest form urn:example:ward|out`,
      of: null,
    });
    const back = madeOf(...out, closed('back', 'out', '09:00'), on('a', 'd1', '09:00'));
    expect(drainAtTimes(back, '08:59', '09:00')).toEqual([null, 'd1']);
  });

  it('is corrected by another time, and an assignment by a drain as well', () => {
    const out = [registered, retired('out', '08:00')];
    const later = entry('o2', { kind: 'corrected', target: id('out'), replacement: { from: at('09:00') } });
    expect(madeOf(...out, later).stays[0]).toMatchObject({ drain: null, from: at('09:00') });
    expect(refusal(...out, moved('o2', 'out', 'd1', '09:00'))).toMatchObject({
      refused: 'replacement-differs',
      pointer: '/replacement',
      value: 'drain, from',
      mend: 'the target is a retirement: send from and to',
    });
    const drainless = entry('a2', { kind: 'corrected', target: id('a'), replacement: { from: at('09:00') } });
    expect(refusal(registered, on('a', 'd1', '08:00'), drainless)).toMatchObject({
      value: 'from',
      mend: 'the target is an assignment: send drain, from and to',
      of: 'd1',
    });
  });
});

describe('a registration', () => {
  const typed = (key: string, target: string) =>
    entry(key, { kind: 'corrected', target: id(target), replacement: { type: 'collection-unit' } });

  it('makes a device known, once', () => {
    expect(isRegistered(UNKNOWN_DEVICE)).toBe(false);
    expect(isRegistered(madeOf(registered))).toBe(true);
    expect(refusal(registered, { ...registered, identifier: id('r2') })).toEqual({
      refused: 'already-registered',
      pointer: '/device',
      value: 'urn:example:ward|m7',
      mend: 'it was registered by urn:example:ward|r: assign it, or correct urn:example:ward|r',
      of: null,
    });
  });

  it('has its type corrected, and nothing else', () => {
    expect(madeOf(registered, typed('r2', 'r')).registration).toMatchObject({
      type: 'collection-unit',
      device: id('m7'),
      identifier: id('r'),
      end: id('r2'),
      void: false,
    });
    expect(refusal(registered, typed('r2', 'r'), typed('r3', 'r')).refused).toBe('not-the-chain-end');
    const mend = 'the target is a registration: correct it by a type alone, or retire the device';
    expect(refusal(registered, moved('r2', 'r', 'd1', '08:00'))).toMatchObject({
      value: 'drain, from',
      mend,
    });
    expect(refusal(registered, closed('r2', 'r', '08:00'))).toMatchObject({
      ...{ refused: 'replacement-differs', pointer: '/target', value: 'urn:example:ward|r', mend },
    });
  });

  it('is withdrawn once the device is on no drain, and may be made anew', () => {
    const used = [registered, on('a', 'd1', '08:00', '09:00')];
    expect(refusal(...used, inError('x', 'r'))).toMatchObject({
      refused: 'still-in-use',
      mend: `urn:example:ward|a has the device on drain d1 from ${at('08:00')} to ${at('09:00')}: mark urn:example:ward|a entered-in-error first, or retire the device`,
      of: 'd1',
    });
    const gone = [...used, inError('y', 'a'), retired('out', '10:00'), inError('x', 'r')];
    expect(isRegistered(madeOf(...gone))).toBe(false);
    expect(madeOf(...gone).registration).toMatchObject({ void: true, end: id('x'), type: 'monitor' });
    expect(refusal(...gone, typed('r2', 'r'))).toMatchObject({
      refused: 'already-void',
      mend: 'it was entered in error, which is final: register the device anew',
    });
    expect(madeOf(...gone, { ...registered, identifier: id('r9') }).registration).toMatchObject({
      ...{ identifier: id('r9'), void: false },
    });
  });

  it('is not what an unknown identifier names, nor one of another system', () => {
    expect(refusal(registered, closed('end', 'nothing', '08:00'))).toMatchObject({
      refused: 'unknown-target',
      value: 'urn:example:ward|nothing',
      of: null,
    });
    const foreign = entry('x', { kind: 'entered-in-error', target: { system: 'urn:other', value: 'r' } });
    expect(refusal(registered, foreign).refused).toBe('unknown-target');
  });
});
