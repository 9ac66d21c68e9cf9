/**
 * Generated stories of a device that is assigned, moved, and whose assignments are corrected and withdrawn, while it
 * charts. Which drain a reading belongs to is told by the plain rule below, not by the code that is tested. All invented.
 */
import fc from 'fast-check';
import { expect } from 'vitest';
import { writeBody } from '../../src/audit/entry-text.ts';
import type { Book } from '../../src/domain/book/book.ts';
import type { DeviceBody } from '../../src/domain/devices/device.ts';
import { rowsFrom } from '../../src/domain/fold/chart.ts';
import { epochMs } from '../../src/domain/numbers/units.ts';
import type { EntryBody } from '../../src/domain/vocabulary/entry.ts';
import { createRecordAct } from '../../src/record/device-acts.ts';
import { nameOf } from '../../src/record/names.ts';
import { type Ledger, openLedger, SETTINGS } from '../store/ledger.ts';
import { dec, NURSE, WET_UNIT } from '../support/drain-script.ts';
import { written } from '../support/written.ts';

const SYSTEM = 'urn:example:law';
export const id = (value: string) => ({ system: SYSTEM, value });
const DEVICE = id('monitor-1');
const MONITOR = { type: 'device', identifier: DEVICE } as const;
export const DRAINS = ['d1', 'd2', 'd3'] as const;
export type Drain = (typeof DRAINS)[number];
/** Two patients; the first has two drains, so that sums over drains change too. */
const PATIENT = { d1: 'Patient/1', d2: 'Patient/2', d3: 'Patient/1' } as const;
export const nameOfDrain = (drain: Drain) => nameOf(id(drain));

const DAY_MS = Date.UTC(2026, 2, 1);
const ms = (minutes: number) => DAY_MS + minutes * 60_000;
const at = (minutes: number) => new Date(ms(minutes)).toISOString();
const EIGHT = 8 * 60;
/** The first thing arrives at noon, each next one a minute later: some of what is charted lies ahead of that. */
const NOON = 12 * 60;

interface Span {
  readonly drain: Drain;
  readonly from: number;
  readonly to: number | null;
}

type Step =
  | { readonly kind: 'post'; readonly minute: number; readonly level: number }
  | {
      readonly kind: 'correct' | 'void';
      readonly which: number;
      readonly minute: number | null;
      readonly level: number;
    }
  | { readonly kind: 'assign'; readonly span: Span }
  | { readonly kind: 'close'; readonly which: number; readonly to: number }
  | { readonly kind: 'reassign'; readonly which: number; readonly span: Span }
  | { readonly kind: 'withdraw'; readonly which: number };

/** On a coarse grid, so that readings fall on the very instants of moves; and about when things arrive, by wrong clocks. */
const minute = fc.oneof(
  { weight: 3, arbitrary: fc.integer({ min: 0, max: 16 }).map((n) => EIGHT + n * 15) },
  { weight: 2, arbitrary: fc.integer({ min: NOON - 4, max: NOON + 24 }) },
);
const level = fc.integer({ min: 0, max: 40 }).map((n) => n * 5);
const span = fc.record({
  drain: fc.constantFrom(...DRAINS),
  from: minute,
  to: fc.oneof(fc.constant(null), minute),
});
const which = fc.nat({ max: 5 });
export const step: fc.Arbitrary<Step> = fc.oneof(
  { weight: 8, arbitrary: fc.record({ kind: fc.constant('post' as const), minute, level }) },
  {
    weight: 2,
    arbitrary: fc.record({
      kind: fc.constantFrom('correct' as const, 'correct' as const, 'void' as const),
      which,
      minute: fc.oneof(fc.constant(null), minute),
      level,
    }),
  },
  { weight: 4, arbitrary: fc.record({ kind: fc.constant('assign' as const), span }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('close' as const), which, to: minute }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('reassign' as const), which, span }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('withdraw' as const), which }) },
);

/** Why something may be refused: every step names the newest form of what it changes. */
const FOR_A_REASON =
  /"refused":"(overlaps|ends-before-it-starts|already-closed|already-void|in-the-future|device-elsewhere)"/;

/** What was taken of one reading: itself, then what changed it. */
export interface Reading {
  readonly key: string;
  readonly receivedMs: number;
  readonly told: { body: EntryBody; nowMs: number }[];
  chartedMinute: number;
  isTimedByPerson: boolean;
  end: string;
  isVoid: boolean;
}
interface Told {
  readonly key: string;
  span: Span;
  end: string;
  isVoid: boolean;
}

/** A ledger with the three drains, and a clock that is set by hand. */
export async function openWard(file: string): Promise<Ledger & { setClock(ms: number): void }> {
  let nowMs = ms(NOON - 60);
  const ledger = openLedger(file, { now: () => nowMs });
  for (const drain of DRAINS) {
    const common = { author: NURSE, effective_at: at(EIGHT) };
    const patient = { reference: PATIENT[drain] };
    const placed: EntryBody = {
      ...{ kind: 'placed', site: 'pleural-left', tubes: ['A'], population: 'adult' },
      ...{ ...common, identifier: id(drain), patient },
    };
    const attached = { profile: WET_UNIT.id, unit_profile: WET_UNIT, opening_level_ml: dec(0) };
    const setUp: EntryBody = { kind: 'set-up', ...attached, ...common, identifier: id(`set-up-${drain}`) };
    for (const body of [placed, setUp]) await post(ledger, body, nameOfDrain(drain));
  }
  return {
    ...ledger,
    setClock(next) {
      nowMs = next;
    },
  };
}

export async function post(ledger: Ledger, body: EntryBody, drain: string | null) {
  const [outcome] = await ledger.record([{ drain, body, request: writeBody(body) }]);
  if (outcome === undefined) throw new Error('no outcome');
  return outcome;
}

export interface Story {
  readonly readings: readonly Reading[];
  readonly assignments: readonly Told[];
  /** Sends one message again. */
  readonly again: (() => Promise<{
    readonly kind: string;
    readonly receipt?: string;
    readonly refused?: object;
  }>)[];
  readonly receipts: string[];
}

export async function tell(
  ledger: Awaited<ReturnType<typeof openWard>>,
  steps: readonly Step[],
): Promise<Story> {
  const act = createRecordAct(ledger.store, SETTINGS);
  const readings: Reading[] = [];
  const assignments: Told[] = [];
  const again: Story['again'] = [];
  const receipts: string[] = [];

  async function send(nowMs: number, sent: () => ReturnType<Story['again'][number]>): Promise<boolean> {
    ledger.setClock(nowMs);
    const outcome = await sent();
    if (outcome.kind === 'refused') {
      expect(JSON.stringify(outcome.refused)).toMatch(FOR_A_REASON);
      return false;
    }
    expect(outcome.kind).toMatch(/^(recorded|unmatched)$/);
    again.push(sent);
    receipts.push(outcome.receipt ?? '');
    return true;
  }
  const about = (nowMs: number, body: DeviceBody) =>
    send(nowMs, () => act({ device: nameOf(DEVICE), body, request: JSON.stringify(body) }));

  const common = { author: NURSE, effective_at: at(NOON) };
  await about(ms(NOON), {
    kind: 'registered',
    identifier: id('r'),
    device: DEVICE,
    type: 'monitor',
    ...common,
  });
  for (const [n, step] of steps.entries()) {
    const nowMs = ms(NOON + n);
    const key = `step-${n}`;
    const own = { identifier: id(key), author: NURSE, effective_at: at(NOON), reason: 'told so' };
    if (step.kind === 'post') {
      const body: EntryBody = {
        ...{ kind: 'reading', level_ml: dec(step.level), identifier: id(key), author: MONITOR },
        ...{ device: DEVICE, effective_at: at(step.minute) },
      };
      if (await send(nowMs, () => post(ledger, body, null)))
        readings.push({
          ...{ key, receivedMs: nowMs, told: [{ body, nowMs }], end: key, isVoid: false },
          ...{ chartedMinute: step.minute, isTimedByPerson: false },
        });
      continue;
    }
    if (step.kind === 'correct' || step.kind === 'void') {
      const reading = readings[step.which];
      if (reading === undefined) continue;
      const minutes = step.minute ?? reading.chartedMinute;
      const body: EntryBody =
        step.kind === 'void'
          ? { ...own, kind: 'entered-in-error', target: id(reading.end), device: DEVICE }
          : {
              ...{ ...own, kind: 'corrected', target: id(reading.end), device: DEVICE },
              replacement: { kind: 'reading', level_ml: dec(step.level), effective_at: at(minutes) },
            };
      if (!(await send(nowMs, () => post(ledger, body, null)))) continue;
      reading.told.push({ body, nowMs });
      reading.end = key;
      reading.isVoid = step.kind === 'void';
      if (step.kind !== 'correct') continue;
      reading.chartedMinute = minutes;
      reading.isTimedByPerson = true;
      continue;
    }
    if (step.kind === 'assign') {
      const body: DeviceBody = { ...own, kind: 'assigned', ...spanText(step.span) };
      if (await about(nowMs, body)) assignments.push({ key, span: step.span, end: key, isVoid: false });
      continue;
    }
    const told = assignments[step.which];
    if (told === undefined) continue;
    const target = id(told.end);
    if (step.kind === 'close') {
      if (!(await about(nowMs, { ...own, kind: 'closed', target, to: at(step.to) }))) continue;
      told.span = { ...told.span, to: step.to };
    } else if (step.kind === 'reassign') {
      const replacement = spanText(step.span);
      if (!(await about(nowMs, { ...own, kind: 'corrected', target, replacement }))) continue;
      told.span = step.span;
    } else {
      if (!(await about(nowMs, { ...own, kind: 'entered-in-error', target }))) continue;
      told.isVoid = true;
    }
    told.end = key;
  }
  return { readings, assignments, again, receipts };
}

const spanText = ({ drain, from, to }: Span) => ({
  drain: nameOfDrain(drain),
  from: at(from),
  ...(to === null ? {} : { to: at(to) }),
});

/**
 * From included, to excluded; and nothing was read later than it was received. A time that a person charted is believed; a
 * device's that is more than a minute and at most 90 before it was received only where the device was on one drain meanwhile.
 */
export function rightDrain(
  { chartedMinute, receivedMs, isTimedByPerson }: Reading,
  assignments: readonly Told[],
): Drain | null {
  const readMs = Math.min(ms(chartedMinute), receivedMs);
  const late = (receivedMs - readMs) / 60_000;
  const drain = drainOn(readMs, assignments);
  if (isTimedByPerson || late <= 1 || late > 90) return drain;
  const meanwhile = Array.from({ length: late + 1 }, (_, n) => drainOn(readMs + n * 60_000, assignments));
  return meanwhile.every((each) => each === drain) ? drain : null;
}

function drainOn(moment: number, assignments: readonly Told[]): Drain | null {
  const covering = assignments.filter(
    ({ span, isVoid }) => !isVoid && ms(span.from) <= moment && (span.to === null || moment < ms(span.to)),
  );
  expect(covering.length).toBeLessThan(2);
  return covering[0]?.span.drain ?? null;
}

/** Everything derived, drain by drain. */
export const derivedIn = ({ store }: Ledger) =>
  DRAINS.map((drain) => derivedOf(store.books(nameOfDrain(drain)).get(nameOfDrain(drain))));

export function derivedOf(book: Book | undefined) {
  if (book === undefined) throw new Error('no book of a drain');
  return rowsFrom(book.chart, epochMs(-Infinity)).map(({ item, conditions, ...derived }) => {
    const { content: _content, author: _author, ...named } = item;
    return written({ ...named, ...derived, on: conditions.unit?.item.id });
  });
}
