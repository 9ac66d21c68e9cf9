/**
 * Statistics over the numbers of a subject's observations.
 * Source: http://hl7.org/fhir/R4/observation-operation-stats.html
 */
import type { Observation, ObservationComponent, Quantity } from 'fhir/r4.js';
import { DATA_ABSENT_REASON, UCUM } from '../fhir/codings.ts';
import type { Unit } from '../fhir/search/extract.ts';
import type { Criterion, TokenValue } from '../fhir/search/query.ts';
import { exact, readReference } from '../fhir/search/read-values.ts';
import { Refused } from '../fhir/search/refused.ts';
import type { ResourceType, SearchParameter } from '../fhir/search/resource-type.ts';
import { STATISTICS, type Statistic } from '../fhir/search/stats-parameters.ts';
import { type Hit, NEWEST_FIRST } from './find.ts';
import type { ConvertUnit } from './fragments.ts';
import type { Held } from './held.ts';
import type { Ask, Told } from './port.ts';
import { readStats, type StatsQuery } from './read-stats.ts';
import { statistic } from './statistics.ts';
import { MOST_SHOWN, textsOf, told, tooMany } from './texts.ts';
import { convertUnit } from './units.ts';
import { planWithin } from './within.ts';

const MOST_COUNTED = 200_000;
const STATISTIC_CODES = 'http://terminology.hl7.org/CodeSystem/observation-statistics';

/** A Parameters resource: one Observation for each code, and the observations behind them where asked for. */
export function stats(held: Held, type: ResourceType, ask: Ask): Told {
  const query = readStats(ask.pairs, ask.nowMs, held.zone);
  const asOf = held.finder.newestRow();
  const counted = query.codes.map((code) => {
    const asked = criteriaOf(type, query, code, ask.base);
    const plan = planWithin(held, type, ask, asked);
    const hits = held.finder.page(plan, NEWEST_FIRST, asOf, null, MOST_COUNTED + 1);
    if (hits.length > MOST_COUNTED)
      throw new Refused(400, 'too-costly', `over ${MOST_COUNTED} observations: send a duration or a period`);
    return { code, hits, units: new Map(plan.shapes.map(({ number, shape }) => [number, shape.unit])) };
  });
  const parameters = counted.map(
    ({ code, hits, units }) =>
      `{"name":"statistics","resource":${JSON.stringify(statisticsOf(query, code, hits, units))}}`,
  );
  const sources = query.include
    ? sourcesOf(
        counted.flatMap(({ hits }) => hits),
        query.limit,
      )
    : [];
  if (sources.length > MOST_SHOWN) throw tooMany('a limit, a duration or a period');
  const texts = textsOf(held.ledger, sources).map((text) => `{"name":"source","resource":${text}}`);
  const text = `{"resourceType":"Parameters","parameter":[${[...parameters, ...texts].join(',')}]}`;
  return told(
    text,
    counted.flatMap(({ hits }) => hits),
  );
}

function sourcesOf(hits: readonly Hit[], limit: number | null): readonly Hit[] {
  const once = [...new Map(hits.map((hit) => [hit.row, hit])).values()];
  return limit === null ? once : once.slice(0, limit);
}

/** What lies wholly within the period; what was entered in error is never counted. */
function criteriaOf(
  type: ResourceType,
  query: StatsQuery,
  code: TokenValue,
  base: string,
): readonly Criterion[] {
  const named = (name: string): SearchParameter => {
    const parameter = type.parameters.find((each) => each.name === name);
    if (parameter === undefined) throw new Error(`$stats needs the search parameter ${name}`);
    return parameter;
  };
  const subject = named('subject');
  const inError = { system: undefined, code: 'entered-in-error' };
  return [
    { parameter: subject, by: 'reference', values: readReference(subject, query.subject, undefined, base) },
    { parameter: named('code'), by: 'token', not: false, values: [code] },
    { parameter: named('status'), by: 'token', not: true, values: [inError] },
    ...(query.period === null
      ? []
      : [
          {
            parameter: named('date'),
            by: 'date' as const,
            values: [{ prefix: 'eq' as const, range: query.period }],
          },
        ]),
  ];
}

function statisticsOf(
  query: StatsQuery,
  { system, code = '' }: TokenValue,
  hits: readonly Hit[],
  units: ReadonlyMap<number, Unit | null>,
): Observation {
  const { values, unit } = measured(hits, units, convertUnit);
  const coding = { ...(system == null ? {} : { system }), code };
  return {
    resourceType: 'Observation',
    status: 'final',
    code: { coding: [coding] },
    subject: { reference: query.subject.includes('/') ? query.subject : `Patient/${query.subject}` },
    ...(query.periodText === null ? {} : { effectivePeriod: query.periodText }),
    component: query.statistics.map((name) => component(name, statistic(name, values, hits.length), unit)),
  };
}

/**
 * Measured numbers in the unit of the newest; a bound (>= 150) is no measured number.
 * @throws {Refused} 422 where two of them measure different things
 */
function measured(
  hits: readonly Pick<Hit, 'shape' | 'value'>[],
  units: ReadonlyMap<number, Unit | null>,
  convert: ConvertUnit,
): { readonly values: readonly number[]; readonly unit: Unit | null } {
  let common: Unit | null = null;
  const values: number[] = [];
  for (const { shape, value } of hits) {
    const unit = units.get(shape) ?? null;
    if (value === null || unit === null || unit.comparator !== null) continue;
    common ??= unit;
    values.push(inUnit(value, unit, common, convert));
  }
  return { values, unit: common };
}

function inUnit(value: number, from: Unit, to: Unit, convert: ConvertUnit): number {
  if (from.system === to.system && from.code === to.code && (from.code !== null || from.unit === to.unit))
    return value;
  const isUcum = from.system === UCUM && to.system === UCUM && from.code !== null && to.code !== null;
  const converted = isUcum ? convert(value, from.code ?? '', to.code ?? '') : undefined;
  if (converted !== undefined) return converted;
  const [one, other] = [from, to].map(({ code, unit }) => code ?? unit ?? 'none');
  throw new Refused(
    422,
    'processing',
    `the observations are in ${one} and in ${other}, which do not convert: name one code`,
  );
}

const COUNTS: readonly Statistic[] = ['count', 'total-count', 'skew', 'kurtosis'];

function component(name: Statistic, value: number | undefined, unit: Unit | null): ObservationComponent {
  const code = { coding: [{ system: STATISTIC_CODES, code: name, display: STATISTICS[name] }] };
  if (value === undefined) {
    const coding = [{ system: DATA_ABSENT_REASON, code: 'unknown', display: 'Unknown' }];
    return { code, dataAbsentReason: { coding, text: 'too few measured numbers' } };
  }
  return { code, valueQuantity: quantity(exact(value), unitOf(name, unit)) };
}

/** Counts and shape numbers are numbers; a variance is in the unit's square. */
function unitOf(name: Statistic, unit: Unit | null): Unit | null {
  const one: Unit = { system: UCUM, code: '1', unit: '1', comparator: null };
  if (COUNTS.includes(name)) return one;
  if (name !== 'variance' || unit === null || unit.code === null) return unit;
  const square = unit.code === '1' ? '1' : `(${unit.code})2`;
  return { ...unit, code: square, unit: square };
}

function quantity(value: number, unit: Unit | null): Quantity {
  if (unit === null) return { value };
  const { system, code, unit: words } = unit;
  return {
    value,
    ...(words === null ? {} : { unit: words }),
    ...(system === null ? {} : { system }),
    ...(code === null ? {} : { code }),
  };
}
