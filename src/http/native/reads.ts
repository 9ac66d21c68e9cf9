/** What is known of drains: list, one drain, entries, chart, current state. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { Book } from '../../domain/book.ts';
import { parseInstant } from '../../domain/instant.ts';
import type { EpochMs } from '../../domain/units.ts';
import { shown } from '../../intake/fault.ts';
import { chartViewOf, drainViewOf, stateViewOf } from '../../record/chart-view.ts';
import type { StoredEntry } from '../../store/port.ts';
import { CAUTIONS, type Parts } from '../parts.ts';
import { faulty, type Problem, problem, sendProblem } from '../problem.ts';

type Query = Readonly<Record<string, string | string[] | undefined>>;
type Single = Readonly<Record<string, string | undefined>>;
interface OfDrain {
  Params: { drain: string };
  Querystring: Query;
}

const PAGE = { drains: 50, entries: 500 } as const;

export function registerReads(app: FastifyInstance, parts: Parts): void {
  const { store } = parts;

  app.get('/', async () => ({
    service: 'drainledger',
    cautions: CAUTIONS,
    api_reference: `${parts.publicUrl}/openapi.json`,
  }));

  app.get('/unit-profiles', async () => ({ profiles: [...parts.profiles.values()].map(plain) }));

  app.get<{ Querystring: Query }>('/drains', async (request, reply) => {
    const { query, wrong } = queryOf(request.query, ['after']);
    if (wrong !== null) return sendProblem(reply, wrong);
    const names = store.drains(query.after ?? '', PAGE.drains);
    const drains = names.flatMap((name) => store.books(name).get(name) ?? []).map(drainViewOf);
    return { drains, next_after: names.length === PAGE.drains ? names.at(-1) : null };
  });

  app.get<OfDrain>('/drains/:drain', (request, reply) => withBook(request, reply, [], drainViewOf));

  app.get<OfDrain>('/drains/:drain/chart', (request, reply) =>
    withBook(request, reply, ['as_of'], (book, asOf) => chartViewOf(book, asOf)),
  );

  app.get<OfDrain>('/drains/:drain/state', (request, reply) =>
    withBook(request, reply, ['as_of'], (book, asOf) => stateViewOf(book, asOf, parts.now())),
  );

  app.get<OfDrain>('/drains/:drain/entries', async (request, reply) => {
    const { drain } = request.params;
    const { query, wrong } = queryOf(request.query, ['after']);
    if (wrong !== null) return sendProblem(reply, wrong);
    const after = Number(query.after ?? '0');
    if (!Number.isSafeInteger(after) || after < 0) return sendProblem(reply, noNumber(query.after));
    const entries = store.entries(drain, after, PAGE.entries);
    if (entries.length === 0 && store.entries(drain, 0, 1).length === 0)
      return sendProblem(reply, noSuchDrain(drain));
    const next = entries.length === PAGE.entries ? entries.at(-1)?.seq : null;
    const body = `{"drain":"${drain}","entries":[${entries.map(entryText).join(',')}],"next_after":${next}}`;
    return reply.type('application/json; charset=utf-8').send(body);
  });

  function withBook(
    request: FastifyRequest<OfDrain>,
    reply: FastifyReply,
    allowed: readonly string[],
    view: (book: Book, asOf: EpochMs | null) => object,
  ): FastifyReply {
    const { drain } = request.params;
    const { query, wrong } = queryOf(request.query, allowed);
    if (wrong !== null) return sendProblem(reply, wrong);
    const asOf = query.as_of === undefined ? null : parseInstant(query.as_of);
    if (asOf === undefined) return sendProblem(reply, noInstant(query.as_of));
    const book = store.books(drain).get(drain);
    if (book === undefined) return sendProblem(reply, noSuchDrain(drain));
    return reply.send(plain(view(book, asOf === null ? null : asOf.ms)));
  }
}

/** The stored text of the body goes out as it is, digits and all. */
function entryText({ seq, entryId, recordedAt, hash, body }: StoredEntry): string {
  return `{"sequence":${seq},"entry":"${entryId}","recorded_at":"${recordedAt}","hash":"${hash}","body":${body}}`;
}

/** Decimals as plain JSON numbers. */
function plain<T>(value: T): unknown {
  return JSON.parse(
    JSON.stringify(value, (_key, inner) => (isDecimal(inner) ? inner.thousandths / 1000 : inner)),
  );
}

function isDecimal(value: unknown): value is { readonly thousandths: number } {
  return typeof value === 'object' && value !== null && 'thousandths' in value;
}

/** Query parameters by name; one that is not known here, or stands twice, is refused. */
function queryOf(query: Query, allowed: readonly string[]): { query: Single; wrong: Problem | null } {
  const faults = Object.entries(query).flatMap(([name, value]) => {
    if (!allowed.includes(name)) {
      const mend =
        allowed.length === 0 ? 'leave it out: none is known here' : `send only ${allowed.join(', ')}`;
      return [{ pointer: `?${name}`, value: shown(value), detail: 'is no parameter of this', mend }];
    }
    return Array.isArray(value)
      ? [{ pointer: `?${name}`, value: shown(value), detail: 'stands twice', mend: 'send it once' }]
      : [];
  });
  return { query: query as Single, wrong: faults.length > 0 ? faulty(faults) : null };
}

const noSuchDrain = (drain: string): Problem =>
  problem(404, 'no-such-drain', 'There is no such drain', `/drain ${drain}: place it first, POST /v1/drains`);
const noInstant = (value: string | undefined): Problem =>
  faulty([
    {
      pointer: '?as_of',
      value: shown(value),
      detail: 'is no moment with an offset',
      mend: 'send RFC 3339, such as 2026-03-01T08:00:00Z',
    },
  ]);
const noNumber = (value: string | undefined): Problem =>
  faulty([
    {
      pointer: '?after',
      value: shown(value),
      detail: 'is no sequence number',
      mend: 'send the next_after of the page before',
    },
  ]);
