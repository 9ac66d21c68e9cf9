/** A short hand for telling a drain's story in tests: entries in, rows out, without any I/O. */

import type { Policy } from '../../src/domain/advisories/policy.ts';
import { type Book, openBooks, type Subject } from '../../src/domain/book/book.ts';
import { type Accepted, decide, enter } from '../../src/domain/decide.ts';
import type { Refusal } from '../../src/domain/fold/chains.ts';
import { rowsFrom } from '../../src/domain/fold/chart.ts';
import { netOf } from '../../src/domain/fold/interval.ts';
import type { Row } from '../../src/domain/fold/row.ts';
import { Decimal } from '../../src/domain/numbers/decimal.ts';
import { parseInstant } from '../../src/domain/numbers/instant.ts';
import { epochMs } from '../../src/domain/numbers/units.ts';
import type { Author, Content, Entry, EntryBody } from '../../src/domain/vocabulary/entry.ts';
import type { UnitProfile } from '../../src/domain/vocabulary/unit-profile.ts';
import { DEFAULT_POLICY, ROWS_ONLY } from './policy.ts';

export const dec = (digits: string | number): Decimal => Decimal.of(String(digits));

export const WET_UNIT: UnitProfile = {
  id: 'wet-2000',
  kind: 'wet-suction',
  capacity_ml: dec(2000),
  graduations: [{ up_to_ml: dec(2000), mark_ml: dec(5) }],
  leak_scale_max: dec(7),
  seal_fill_cmh2o: dec(2),
  seal_reading_includes_fill: false,
  seal_fill_counts: false,
};

export const NURSE: Author = { type: 'person', reference: 'Practitioner/n1' };

/** '08:00' on 1 March 2026 UTC, '+1 08:00' a day later, or a full date-time as it is. */
export function at(time: string): string {
  const [, days = '0', clock = time] = /^\+(\d+) (.*)$/.exec(time) ?? [];
  if (clock.includes('T')) return clock;
  const day = String(1 + Number(days)).padStart(2, '0');
  return `2026-03-${day}T${clock}${clock.length === 5 ? ':00' : ''}Z`;
}

/** What may be said of a drain, without its time. */
export type Says = DistributiveOmit<Content, 'effective_at'>;

export type Told = {
  readonly key: string;
  readonly time: string;
  readonly author?: Author;
  readonly drain?: string;
  /** Server clock; by default long after everything that is told. */
  readonly recorded?: string;
} & (
  | { readonly says: Says }
  | { readonly corrects: string; readonly to: string; readonly says: Says }
  | { readonly voids: string }
);
type DistributiveOmit<T, K extends PropertyKey> = T extends unknown ? Omit<T, K> : never;

const SYSTEM = 'urn:example:test';

function bodyOf(told: Told): EntryBody {
  const common = {
    identifier: { system: SYSTEM, value: told.key },
    author: told.author ?? NURSE,
    effective_at: at(told.time),
  };
  if ('voids' in told) {
    return {
      ...common,
      kind: 'entered-in-error',
      target: { system: SYSTEM, value: told.voids },
      reason: 'wrong drain',
    };
  }
  if ('corrects' in told) {
    const replacement = { ...told.says, effective_at: at(told.to) } as Content;
    return {
      ...common,
      kind: 'corrected',
      target: { system: SYSTEM, value: told.corrects },
      reason: 'misread',
      replacement,
    };
  }
  return { ...told.says, ...common } as EntryBody;
}

export function entryOf(told: Told, seq: number): Entry {
  const body = bodyOf(told);
  const effective = parseInstant(body.effective_at);
  const recordedAt = parseInstant(at(told.recorded ?? '2030-01-01T00:00:00Z'));
  if (effective === undefined || recordedAt === undefined)
    throw new Error(`no instant in ${JSON.stringify(told)}`);
  return {
    id: told.key,
    drain: told.drain ?? 'd1',
    seq,
    effective,
    recorded_ms: epochMs(recordedAt.ms),
    body,
  };
}

/** Tells entries one after another, as they arrive. */
export function tell(
  story: readonly Told[],
  subject: Subject = new Map(),
  policy: Policy = DEFAULT_POLICY,
): { subject: Subject; accepted: Accepted[] } {
  const accepted: Accepted[] = [];
  for (const told of story) {
    const head = subject.get(told.drain ?? 'd1')?.head ?? 0;
    const decision = decide(subject, entryOf(told, head + 1), policy);
    if ('refused' in decision) throw new Error(`${told.key}: ${decision.refused}`);
    enter(subject, decision, policy);
    accepted.push(decision);
  }
  return { subject, accepted };
}

export function refusalOf(story: readonly Told[], last: Told): Refusal | null {
  const { subject } = tell(story);
  const head = subject.get(last.drain ?? 'd1')?.head ?? 0;
  const decision = decide(subject, entryOf(last, head + 1), DEFAULT_POLICY);
  return 'refused' in decision ? decision : null;
}

export function bookOf(story: readonly Told[], drain = 'd1'): Book {
  const book = tell(story, new Map(), ROWS_ONLY).subject.get(drain);
  if (book === undefined) throw new Error(`no drain ${drain}`);
  return book;
}

export function rowsIn(subject: Subject, drain = 'd1'): Row[] {
  const book = subject.get(drain);
  return book === undefined ? [] : rowsFrom(book.chart, epochMs(-Infinity));
}

export function rowsOf(story: readonly Told[], drain = 'd1'): Row[] {
  return rowsFrom(bookOf(story, drain).chart, epochMs(-Infinity));
}

export function rowOf(story: readonly Told[], key: string, drain = 'd1'): Row {
  const row = rowsOf(story, drain).find((r) => r.item.id === key);
  if (row === undefined) throw new Error(`no row ${key}`);
  return row;
}

/** The same ledger, opened from its entries alone, and from what was issued more than once. */
export function reopened(accepted: readonly Accepted[], policy = DEFAULT_POLICY): Subject {
  const ledger = new Map<string, Entry[]>();
  for (const { entry } of accepted) ledger.set(entry.drain, [...(ledger.get(entry.drain) ?? []), entry]);
  const reissues = new Map<string, Book['reissues']>();
  for (const { drain, issued } of accepted.flatMap(({ changes }) => changes)) {
    const known: Book['reissues'] = reissues.get(drain) ?? new Map();
    reissues.set(drain, known);
    for (const { key, version, status } of issued) if (version > 1) known.set(key, { version, status });
  }
  return openBooks(ledger, reissues, policy);
}

export const placed = (time = '08:00', more: object = {}): Told => ({
  key: 'placed',
  time,
  says: { kind: 'placed', site: 'pleural-left', tubes: ['A'], population: 'adult', ...more },
});

export const setUp = (
  time: string,
  opening: number | null,
  profile: UnitProfile = WET_UNIT,
  key = 'set-up',
): Told => ({
  key,
  time,
  says: {
    kind: 'set-up',
    profile: profile.id,
    unit_profile: profile,
    ...(opening === null ? {} : { opening_level_ml: dec(opening) }),
  },
});

export const level = (key: string, time: string, ml: number | string): Told => ({
  key,
  time,
  says: { kind: 'reading', level_ml: dec(ml) },
});

type Kind = Says['kind'];
type SaysOf<K extends Kind> = Omit<Extract<Says, { kind: K }>, 'kind'>;

/** Any statement; numbers are given as {@link dec}imals. */
export const says = <K extends Kind>(key: string, time: string, kind: K, more: SaysOf<K>): Told => ({
  key,
  time,
  says: { kind, ...more } as unknown as Says,
});

export const changed = (
  key: string,
  time: string,
  closing: number | null,
  opening: number | null,
  profile: UnitProfile = WET_UNIT,
): Told =>
  says(key, time, 'unit-changed', {
    profile: profile.id,
    unit_profile: profile,
    ...(closing === null ? {} : { closing_level_ml: dec(closing) }),
    ...(opening === null ? {} : { opening_level_ml: dec(opening) }),
  });

export const rebased = (key: string, time: string, trusted: number | null, level: number | null): Told =>
  says(key, time, 'level-rebased', {
    cause: 'tip-over',
    ...(trusted === null ? {} : { last_trusted_level_ml: dec(trusted) }),
    ...(level === null ? {} : { new_level_ml: dec(level) }),
  });

export const instilled = (key: string, time: string, ml: number): Told =>
  says(key, time, 'instilled', { volume_ml: dec(ml), purpose: 'flush' });
export const sampled = (key: string, time: string, ml: number): Told =>
  says(key, time, 'sampled', { volume_ml: dec(ml) });
export const clamped = (key: string, time: string): Told => says(key, time, 'clamped', {});
export const unclamped = (key: string, time: string): Told => says(key, time, 'unclamped', {});
export const weighed = (key: string, time: string, kg: number): Told =>
  says(key, time, 'weighed', { weight_kg: dec(kg) });
export const reading = (key: string, time: string, more: SaysOf<'reading'>): Told =>
  says(key, time, 'reading', more);

/** Replaces the content of `target`; the new content stands at the time and says what `to` says. */
export const corrected = (key: string, target: string, to: Told): Told => {
  if (!('says' in to)) throw new Error(`${to.key} says nothing that could replace ${target}`);
  return { key, time: to.time, corrects: target, to: to.time, says: to.says };
};
export const voided = (key: string, target: string, time = '+10 00:00'): Told => ({
  key,
  time,
  voids: target,
});

export const onDrain = (drain: string, told: Told): Told => ({ ...told, drain });

/** A millilitre figure of a row, which counts in microlitres. */
export const ml = (microlitres: number | null | undefined): number | null | undefined =>
  typeof microlitres === 'number' ? microlitres / 1000 : microlitres;

/** What the interval that a level ends holds, in mL. */
export function intervalAt(story: readonly Told[], key: string, drain = 'd1') {
  const { volumes } = rowOf(story, key, drain);
  if (volumes === null) return null;
  const { interval } = volumes;
  const net = netOf(interval);
  return {
    status: interval.status,
    drained: ml(interval.drained),
    net: ml(net),
    ...(interval.reason === null ? {} : { reason: interval.reason }),
    ...(interval.suspect ? { suspect: true } : {}),
  };
}
