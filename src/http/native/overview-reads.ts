/** The overview: where all open drains stand, to be sorted and paged. */
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { LIST } from '../../auth/scope.ts';
import { expectedEveryH } from '../../domain/assessment/overdue.ts';
import { parseInstant } from '../../domain/numbers/instant.ts';
import { HOUR_MS } from '../../domain/numbers/units.ts';
import { MEND } from '../../intake/native/quantity.ts';
import { createOverview } from '../../record/overview/overview.ts';
import type { OverviewRow } from '../../record/overview/overview-row.ts';
import type { Parts } from '../parts.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { overview } from './overview-answers.ts';
import { wholeNumber } from './query-parts.ts';

const MOST_ROWS = 200;
const DEFAULT_ROWS = 50;

type AgedRow = ReturnType<typeof aged>;

/** What rows are sorted by; null stands last, whichever way. */
const SORT_KEYS = {
  drain: (row) => row.drain,
  placed_at: (row) => (row.placed_at === null ? null : Date.parse(row.placed_at)),
  age: (row) => row.age_s,
  rate: (row) => numberIn(row.last_interval, 'rate_ml_h'),
  cumulative: (row) => numberIn(row.cumulative, 'net_ml'),
  fill: (row) => row.chamber?.fill_fraction ?? null,
  advisories: (row) => row.advisories.filter(({ reviewed }) => !reviewed).length,
} as const satisfies Readonly<Record<string, (row: AgedRow) => string | number | null>>;

const SORTS = Object.keys(SORT_KEYS).flatMap((key) => [key, `-${key}`]) as [string, ...string[]];

interface OfOverview {
  Querystring: { readonly sort?: string; readonly after?: string; readonly count?: string };
}

const DOC = {
  operation: 'overview',
  access: LIST,
  summary: 'Where all open drains stand, with standing advisories and the age of the last reading',
  about: 'As of what is charted, for review. Silence shows as age, never as 0 mL.',
  query: {
    sort: z.enum(SORTS).meta({
      description: '- before it: largest first; advisories: those not reviewed. Default: -advisories.',
    }),
    count: wholeNumber(1, MOST_ROWS).meta({ description: `Rows a page. Default: ${DEFAULT_ROWS}.` }),
    after: z
      .string()
      .regex(/^\d{1,6}$/, { error: `is no number of rows${MEND}send the next_after of the page before` })
      .meta({
        description:
          '`next_after` of the page before: how many rows to pass over. Rows may move in between, so that one comes twice or not at all.',
      }),
  },
  answers: { 200: json('A page.', overview), ...problems({}) },
} as const satisfies RouteDoc;

export function registerOverview(app: FastifyInstance, parts: Parts): void {
  const { store, policy, rules } = parts;
  const kept = createOverview(store, policy);

  app.get<OfOverview>('/overview', { config: { doc: DOC } }, async (request, reply) => {
    const { sort = '-advisories', after = '0', count = String(DEFAULT_ROWS) } = request.query;
    const now = parts.now();
    const rows = (await kept.rows()).map((row) => aged(row, now, rules.reading_every_h));
    const [from, to] = [Number(after), Number(after) + Number(count)];
    const drains = rows.sort(comparing(sort)).slice(from, to);
    request.shown = drains.map(({ drain }) => drain);
    return sendPlain(reply, {
      as_of: new Date(now).toISOString(),
      open: rows.length,
      drains,
      next_after: to < rows.length ? String(to) : null,
    });
  });
}

/** With what changes as time goes by. */
function aged(row: OverviewRow, now: number, every: Parts['rules']['reading_every_h']) {
  const since = parseInstant(row.last_reading_at ?? row.placed_at ?? '')?.ms ?? now;
  const expected_every_h = expectedEveryH(row.population, every);
  const isOverdue = now - since > expected_every_h * HOUR_MS;
  return {
    ...row,
    age_s: Math.floor((now - since) / 1000),
    overdue: isOverdue ? { expected_every_h } : null,
  };
}

function comparing(sort: string): (a: AgedRow, b: AgedRow) => number {
  const isDown = sort.startsWith('-');
  const key = SORT_KEYS[(isDown ? sort.slice(1) : sort) as keyof typeof SORT_KEYS];
  return (a, b) => {
    const [x, y] = [key(a), key(b)];
    if (x === y) return a.drain < b.drain ? -1 : 1;
    if (x === null || y === null) return x === null ? 1 : -1;
    return x < y === isDown ? 1 : -1;
  };
}

function numberIn(part: object | null, name: string): number | null {
  const value = part === null ? undefined : (part as Readonly<Record<string, unknown>>)[name];
  return typeof value === 'number' ? value : null;
}
