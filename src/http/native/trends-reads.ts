/** Trends for dashboards: series over time of a drain, or of all drains of its patient, as JSON or CSV. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { READ } from '../../auth/scope.ts';
import type { DrainSums } from '../../domain/book/drain-sums.ts';
import { ALGORITHM } from '../../record/receipt.ts';
import { BUCKETS, type Bucket, SERIES_NAMES, type SeriesName } from '../../record/trends/point.ts';
import { type AskedTrends, MOST_BUCKETS, MOST_ROWS, type TrendSource } from '../../record/trends/trends.ts';
import { patientTrendsViewOf, trendsViewOf } from '../../record/trends/trends-view.ts';
import { sumRefusal } from '../allowed.ts';
import { holds, tagOf, UNCHANGED } from '../etag.ts';
import type { Parts } from '../parts.ts';
import { noSuchDrain, type Problem } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { badParameter, listOf, moment, readBetween, wholeNumber } from './query-parts.ts';
import { patientTrends, trends } from './trends-answers.ts';
import { trendsCsv } from './trends-csv.ts';

export interface TrendsQuery {
  readonly series?: string;
  readonly bucket?: Bucket;
  readonly from?: string;
  readonly to?: string;
  readonly last_h?: string;
}
interface OfTrends {
  Params: { drain: string };
  Querystring: TrendsQuery & { readonly format?: 'json' | 'csv' };
}

const DEFAULT_SERIES = ['net', 'rate'] as const;
const DEFAULT_HOURS = 24;
const MOST_HOURS = 24 * 366;

export const TIME_QUERY = {
  from: moment.meta({ format: 'date-time', description: 'Default: `last_h` before `to`.' }),
  to: moment.meta({ format: 'date-time', description: 'Default: the newest statement.' }),
  last_h: wholeNumber(1, MOST_HOURS).meta({
    description: `Hours before \`to\`, instead of \`from\`. Default: ${DEFAULT_HOURS}.`,
  }),
};
const QUERY = {
  series: listOf(SERIES_NAMES).meta({
    description: `With commas between them, of ${SERIES_NAMES.join(', ')}. Default: ${DEFAULT_SERIES.join(',')}.`,
  }),
  bucket: z.enum(BUCKETS).meta({
    description:
      'raw: one point a row; shift and day as configured, in the zone of the facility. Default: hour.',
  }),
  ...TIME_QUERY,
};

const ABOUT =
  `Buckets hold any of the time asked for, at most ${MOST_BUCKETS}, or ${MOST_ROWS} rows. Volumes are summed over
a bucket as windows are; of what is read at moments a bucket shows the newest, of a leak the worst, with its range. A gap is
a point without a value. The answer has an entity tag.`.replaceAll('\n', ' ');
const REFUSALS = problems({
  400: 'The query cannot be answered as it is.',
  404: 'There is no such drain.',
});

const DOCS = {
  ofDrain: {
    operation: 'trends',
    access: READ,
    summary: 'Series over time of a drain',
    about: `${ABOUT} As CSV with \`format=csv\` or \`Accept: text/csv\`: units in the headings.`,
    query: { ...QUERY, format: z.enum(['json', 'csv']).meta({ description: 'Default: as accepted.' }) },
    answers: {
      200: { ...json('The series.', trends), also: { 'text/csv': z.string() } },
      304: UNCHANGED,
      ...REFUSALS,
    },
  },
  ofPatient: {
    operation: 'patientTrends',
    access: READ,
    summary: 'Series over time of all drains of the patient of a drain, summed and each by itself',
    about: ABOUT,
    query: QUERY,
    answers: { 200: json('The series.', patientTrends), 304: UNCHANGED, ...REFUSALS },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerTrends(app: FastifyInstance, parts: Parts): void {
  app.get<OfTrends>('/drains/:drain/trends', { config: { doc: DOCS.ofDrain } }, (request, reply) => {
    const asked = askedTrends(request.query);
    if ('type' in asked) return sendProblem(reply, asked);
    const { drain } = request.params;
    const rests = restsOn(parts, drain);
    if (rests === null) return sendProblem(reply, noSuchDrain(drain));
    const format = wantsCsv(request) ? 'csv' : 'json';
    reply.header('vary', 'accept');
    if (holds(request, reply, tagOf([format, asked, ...rests]))) return reply.code(304).send();
    const source = trendSource(parts.store, drain);
    if (source === null) return sendProblem(reply, noSuchDrain(drain));
    const found = trendsViewOf(source, parts.calendar, asked);
    if ('tooMany' in found) return sendProblem(reply, tooMany(request.query));
    return format === 'csv' ? sendCsv(reply, drain, trendsCsv(found)) : sendPlain(reply, found);
  });

  app.get<OfTrends>(
    '/drains/:drain/patient-trends',
    { config: { doc: DOCS.ofPatient } },
    (request, reply) => {
      const asked = askedTrends(request.query);
      if ('type' in asked) return sendProblem(reply, asked);
      const { drain } = request.params;
      const rests = restsOn(parts, drain);
      if (rests === null) return sendProblem(reply, noSuchDrain(drain));
      const refusal = sumRefusal(request.principal, parts.store, drain);
      if (refusal !== null) return sendProblem(reply, refusal);
      if (holds(request, reply, tagOf(['patient', asked, ...rests]))) return reply.code(304).send();
      const own = trendSource(parts.store, drain);
      if (own === null) return sendProblem(reply, noSuchDrain(drain));
      const others = parts.store.siblings(drain).flatMap((each) => trendSource(parts.store, each) ?? []);
      const found = patientTrendsViewOf([own, ...others], own.sums, parts.calendar, asked);
      return 'tooMany' in found ? sendProblem(reply, tooMany(request.query)) : sendPlain(reply, found);
    },
  );
}

/** All that the derived values of a drain rest on: entries, and what is configured. Null: there is no such drain. */
export function restsOn({ store, policy, calendar, rules }: Parts, drain: string): readonly unknown[] | null {
  const footing = store.footing(drain);
  return footing === null ? null : [footing, policy.settings.version, calendar, rules.version, ALGORITHM];
}

function trendSource(store: Parts['store'], drain: string): TrendSource | null {
  const sums = store.sums(drain);
  if (sums === null) return null;
  let weeks: DrainSums | null = null;
  return {
    sums,
    weeks() {
      // By itself and over all drains it is asked for the same, and thousands of intervals are read from text.
      weeks ??= store.sumsOfWeeks(drain);
      return weeks;
    },
    book() {
      const book = store.books(drain).get(drain);
      if (book === undefined) throw new Error(`the drain ${drain} has sums and no book`);
      return book;
    },
  };
}

/** @returns the problem of a time that does not fit, else what is asked */
export function askedTrends(query: TrendsQuery): AskedTrends | Problem {
  const { bucket = 'hour', series = DEFAULT_SERIES.join(','), from, last_h } = query;
  if (from !== undefined && last_h !== undefined)
    return badParameter('last_h', last_h, 'stands beside from', 'send one of the two');
  const between = readBetween(query);
  if ('type' in between) return between;
  return {
    series: [...new Set(series.split(','))] as SeriesName[],
    bucket,
    ...between,
    last_h: Number(last_h ?? DEFAULT_HOURS),
  };
}

export const tooMany = ({ from, last_h }: TrendsQuery): Problem =>
  badParameter(
    from === undefined ? 'last_h' : 'from',
    from ?? last_h,
    `gives more than ${MOST_BUCKETS} buckets, or ${MOST_ROWS} rows`,
    'ask for less time, or for wider buckets',
  );

/** The parameter decides; else CSV only where JSON is not accepted as well or better. */
function wantsCsv({ query, headers }: FastifyRequest<OfTrends>): boolean {
  if (query.format !== undefined) return query.format === 'csv';
  const accepted = (headers.accept ?? '').split(',').map((each) => each.trim().split(';')[0]);
  const csv = accepted.indexOf('text/csv');
  const isJsonFirst = accepted.slice(0, Math.max(csv, 0)).some((type) => type === 'application/json');
  return csv >= 0 && !isJsonFirst;
}

function sendCsv(reply: FastifyReply, drain: string, text: string): FastifyReply {
  return reply
    .type('text/csv; charset=utf-8; header=present')
    .header('content-disposition', `attachment; filename="trends-${drain}.csv"`)
    .send(text);
}
