/** What is known of drains: list, one drain, entries, chart, current state. */

import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { isBound, type Principal } from '../../auth/principal.ts';
import { LIST, READ } from '../../auth/scope.ts';
import type { Book } from '../../domain/book/book.ts';
import { type EpochMs, epochMs } from '../../domain/numbers/units.ts';
import { chartViewOf, drainViewOf } from '../../record/chart-view.ts';
import { devicesOn } from '../../record/device-view.ts';
import { stateViewOf } from '../../record/state-view.ts';
import { INTERIM, type StoredEntry } from '../../store/port.ts';
import { reachesDrain, readsEntry } from '../allowed.ts';
import { CAUTIONS, type Parts } from '../parts.ts';
import { noSuchDrain } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendJson, sendPlain } from '../send-json.ts';
import * as answers from './answers.ts';
import { chart } from './chart-answers.ts';
import { entriesPage } from './entry-answers.ts';
import { afterName, afterNumber, pageOf } from './pages.ts';
import { asOf, msOf } from './query-parts.ts';
import { state } from './state-answers.ts';

interface OfDrain {
  Params: { drain: string };
  Querystring: { readonly after?: string; readonly as_of?: string; readonly from?: string };
}

const PAGE = { drains: 50, entries: 500 } as const;

const NO_DRAIN = answers.problems({ 404: 'There is no such drain.' });

const DOCS = {
  about: {
    operation: 'about',
    access: 'known',
    concernsNobody: true,
    summary: 'What this service is',
    answers: { 200: json('Its name and what to keep in mind.', answers.about), ...answers.problems({}) },
  },
  profiles: {
    operation: 'unitProfiles',
    access: 'known',
    concernsNobody: true,
    summary: 'The configured unit profiles',
    answers: {
      200: json('What a set-up or unit change may name.', answers.unitProfiles),
      ...answers.problems({}),
    },
  },
  drains: {
    operation: 'drains',
    access: LIST,
    summary: 'The drains, by id',
    query: { after: afterName },
    answers: { 200: json(`A page of ${PAGE.drains}.`, answers.drainsPage), ...answers.problems({}) },
  },
  drain: {
    operation: 'drain',
    access: READ,
    summary: 'What is known of a drain',
    answers: { 200: json('The drain.', answers.drain), ...NO_DRAIN },
  },
  chart: {
    operation: 'chart',
    access: READ,
    summary: 'All that stands of a drain, with what follows from it',
    about:
      'Corrections stand in the place of what they correct; what was entered in error stands apart and counts nowhere.',
    query: {
      as_of: asOf,
      from: asOf.meta({
        format: 'date-time',
        description: 'Only rows of this time and later. Default: all.',
      }),
    },
    answers: { 200: json('The chart.', chart), ...NO_DRAIN },
  },
  state: {
    operation: 'state',
    access: READ,
    summary: 'Where a drain stands, each value with its time and age',
    query: { as_of: asOf },
    answers: { 200: json('The state.', state), ...NO_DRAIN },
  },
  entries: {
    operation: 'entries',
    access: READ,
    summary: 'The ledger of a drain, entry by entry as it was written',
    query: { after: afterNumber },
    answers: { 200: json(`A page of ${PAGE.entries}.`, entriesPage), ...NO_DRAIN },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerReads(app: FastifyInstance, parts: Parts): void {
  const { store } = parts;

  app.get('/', { config: { doc: DOCS.about } }, async () => ({
    service: 'drainledger',
    cautions: CAUTIONS,
    api_reference: `${parts.publicUrl()}/openapi.json`,
  }));

  app.get('/unit-profiles', { config: { doc: DOCS.profiles } }, (_request, reply) =>
    sendPlain(reply, { profiles: [...parts.profiles.values()] }),
  );

  app.get<OfDrain>('/drains', { config: { doc: DOCS.drains } }, (request, reply) => {
    const names = store.drains(request.query.after ?? '', PAGE.drains + 1);
    const { page, next_after } = pageOf(names, PAGE.drains, (name) => name);
    request.shown = page;
    const drains = page.flatMap((name) => store.recentBooks(name).get(name) ?? []).map(drainViewOf);
    return sendPlain(reply, { drains, next_after });
  });

  app.get<OfDrain>('/drains/:drain', { config: { doc: DOCS.drain } }, (request, reply) =>
    withBook(parts, request, reply, drainViewOf),
  );
  app.get<OfDrain>('/drains/:drain/chart', { config: { doc: DOCS.chart } }, (request, reply) =>
    withBook(parts, request, reply, (book, asOf) =>
      chartViewOf(book, { asOf, from: msOf(request.query.from), isConfined: isBound(request.principal) }),
    ),
  );
  app.get<OfDrain>('/drains/:drain/state', { config: { doc: DOCS.state } }, (request, reply) =>
    withBook(parts, request, reply, (book, asOf) => ({
      ...stateOf(parts, book, asOf),
      drains_of_patient: othersOf(parts, book, request.principal),
    })),
  );
  app.get<OfDrain>('/drains/:drain/entries', { config: { doc: DOCS.entries } }, (request, reply) =>
    sendEntries(parts, request, reply),
  );
}

function stateOf({ store, now, rules }: Parts, book: Book, asOf: EpochMs | null): object {
  const devices = devicesOn(store, book.drain, asOf ?? epochMs(now()));
  return { ...stateViewOf(book, asOf, now(), rules.reading_every_h), devices };
}

/** Of its patient as it is linked now, as far as the client reaches them. */
function othersOf({ store }: Parts, { drain: own }: Book, principal: Principal) {
  return store
    .siblings(own)
    .filter((name) => reachesDrain(principal, name, store))
    .flatMap((name) => store.recentBooks(name).get(name) ?? [])
    .map(({ drain, view: { site, tubes, removed_at } }) => ({ drain, site, tubes, removed_at }));
}

function withBook(
  { store }: Parts,
  { params: { drain }, query }: FastifyRequest<OfDrain>,
  reply: FastifyReply,
  view: (book: Book, asOf: EpochMs | null) => object,
): FastifyReply {
  const book = store.books(drain).get(drain);
  if (book === undefined) return sendProblem(reply, noSuchDrain(drain));
  return sendPlain(reply, view(book, msOf(query.as_of)));
}

function sendEntries(
  { store }: Parts,
  { params: { drain }, query, principal }: FastifyRequest<OfDrain>,
  reply: FastifyReply,
): FastifyReply {
  const found = store.entries(drain, Number(query.after ?? '0'), PAGE.entries + 1);
  if (found.length === 0 && store.entries(drain, 0, 1).length === 0)
    return sendProblem(reply, noSuchDrain(drain));
  const { page, next_after } = pageOf(found, PAGE.entries, ({ seq }) => seq);
  const isTold = readsEntry(principal, store, drain);
  const texts = page.map((entry) => entryText(isTold(entry) ? entry : { ...entry, body: WITHHELD }));
  return sendJson(reply, `{"drain":"${drain}","entries":[${texts.join(',')}],"next_after":${next_after}}`);
}

const WITHHELD = 'null';

/** The stored text of the body goes out as it is, digits and all. */
export function entryText({ seq, logIndex, entryId, recordedAt, hash, type, body }: StoredEntry): string {
  const interim = type === INTERIM ? ',"interim":true' : '';
  return `{"sequence":${seq},"log_index":${logIndex},"entry":"${entryId}","recorded_at":"${recordedAt}","hash":"${hash}"${interim},"body":${body}}`;
}
