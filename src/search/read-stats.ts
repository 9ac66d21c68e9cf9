/** Parameters of $stats (http://hl7.org/fhir/R4/observation-operation-stats.html). */
import { type MomentOf, type Range, readRange, repairOffset } from '../fhir/search/date-range.ts';
import { splitAt } from '../fhir/search/escape.ts';
import type { Pair, TokenValue } from '../fhir/search/query.ts';
import { readToken } from '../fhir/search/read-values.ts';
import { notSupported, Refused, refused } from '../fhir/search/refused.ts';
import { STATISTICS, STATS_PARAMETERS, type Statistic } from '../fhir/search/stats-parameters.ts';

export interface StatsQuery {
  readonly subject: string;
  readonly codes: readonly TokenValue[];
  readonly period: Range | null;
  /** As it was asked for, to stand in the answer. */
  readonly periodText: { readonly start?: string; readonly end?: string } | null;
  readonly statistics: readonly Statistic[];
  readonly include: boolean;
  readonly limit: number | null;
}

const REPEATING = ['code', 'coding', 'statistic'];
/** As the operation's own text abbreviates them. */
const SHORT: Readonly<Record<string, Statistic>> = { max: 'maximum', min: 'minimum' };
const HOUR_MS = 3_600_000;

/** @throws {Refused} */
export function readStats(pairs: readonly Pair[], nowMs: number, zone: MomentOf): StatsQuery {
  const given = new Map<string, string[]>();
  for (const [name, value] of pairs) {
    if (name === '_format') continue;
    if (!Object.hasOwn(STATS_PARAMETERS, name)) {
      const mend = `leave it out; known are ${Object.keys(STATS_PARAMETERS).join(', ')}`;
      throw notSupported(name.slice(0, 60), 'is no parameter of $stats', mend);
    }
    const values = given.get(name) ?? [];
    if (values.length > 0 && !REPEATING.includes(name))
      throw refused(name, value, 'stands more than once', 'send it once');
    given.set(name, [...values, value]);
  }
  const one = (name: string): string | undefined => given.get(name)?.[0];
  return {
    subject: required('subject', one('subject')),
    codes: readCodes(given),
    ...readPeriod(one('duration'), one('period'), nowMs, zone),
    statistics: readStatistics(given.get('statistic')),
    include: readInclude(one('include')),
    limit: readLimit(one('limit')),
  };
}

function required(name: string, value: string | undefined): string {
  if (value === undefined || value === '')
    throw new Refused(400, 'required', `${name} is missing: $stats needs it`);
  return value;
}

function readCodes(given: ReadonlyMap<string, readonly string[]>): readonly TokenValue[] {
  const system = given.get('system')?.[0];
  for (const name of ['code', 'coding'] as const) {
    const several = given.get(name)?.find((text) => splitAt(text, ',').length > 1);
    if (several !== undefined) throw refused(name, several, 'names several', `send ${name} once for each`);
  }
  const codes = (given.get('code') ?? []).map((code) => {
    if (code.includes('|'))
      throw refused('code', code, 'names its system', 'send it as coding, or its system as system');
    return { system, code };
  });
  const codings = (given.get('coding') ?? []).map((text) => readToken('coding', text));
  const all = [...codes, ...codings];
  if (all.length === 0)
    throw new Refused(400, 'required', 'code and coding are missing: name what is to be counted');
  return all;
}

function readStatistics(given: readonly string[] = []): readonly Statistic[] {
  const names = given.flatMap((each) => each.split(',')).map((each) => SHORT[each] ?? each);
  required('statistic', names[0]);
  const wrong = names.find((each) => !Object.hasOwn(STATISTICS, each));
  if (wrong !== undefined)
    throw notSupported(
      `statistic=${wrong.slice(0, 40)}`,
      'is not worked out here',
      `send ${Object.keys(STATISTICS).join(', ')}`,
    );
  return [...new Set(names)] as Statistic[];
}

function readPeriod(
  duration: string | undefined,
  period: string | undefined,
  nowMs: number,
  zone: MomentOf,
): Pick<StatsQuery, 'period' | 'periodText'> {
  if (duration !== undefined && period !== undefined)
    throw refused('period', period, 'stands beside duration', 'send one of them');
  if (duration !== undefined) {
    if (!/^\d{1,6}(\.\d{1,6})?$/.test(duration) || Number(duration) === 0)
      throw refused('duration', duration, 'is no number of hours', 'send hours such as 24 or 0.5');
    const lo = nowMs - Number(duration) * HOUR_MS;
    const text = { start: new Date(lo).toISOString(), end: new Date(nowMs).toISOString() };
    return { period: { lo, hi: nowMs + 1 }, periodText: text };
  }
  if (period === undefined) return { period: null, periodText: null };
  if (!period.includes('/'))
    throw refused('period', period, 'is one moment', `send start/end: ${period}/${period} for all of it`);
  const [start = '', end = '', ...more] = period.split('/').map((each) => repairOffset(each));
  const [from, to] = [start, end].map((each) => (each === '' ? null : readRange(each, zone)));
  if (from === undefined || to === undefined || more.length > 0 || (from === null && to === null))
    throw refused(
      'period',
      period,
      'is no period',
      'send start/end, such as 2025-03-01T08:00:00Z/2025-03-02',
    );
  const range = { lo: from?.lo ?? -Infinity, hi: to?.hi ?? Infinity };
  if (range.lo >= range.hi) throw refused('period', period, 'ends before it starts', 'send start/end');
  return {
    period: range,
    periodText: { ...(start === '' ? {} : { start }), ...(end === '' ? {} : { end }) },
  };
}

function readInclude(text: string | undefined): boolean {
  if (text !== undefined && text !== 'true' && text !== 'false')
    throw refused('include', text, 'is neither', 'send true or false');
  return text === 'true';
}

function readLimit(text: string | undefined): number | null {
  if (text === undefined) return null;
  if (!/^[1-9]\d{0,8}$/.test(text)) throw refused('limit', text, 'is no count', 'send 1 or more');
  return Number(text);
}
