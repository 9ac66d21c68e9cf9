/** Worklists: which thresholds the data crossed, which could not be assessed, which drains went unread. */

import { setImmediate } from 'node:timers/promises';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { LIST, READ } from '../../auth/scope.ts';
import { type Advised, advise } from '../../domain/book/advise.ts';
import type { Book, Subject } from '../../domain/book/book.ts';
import { type EpochMs, epochMs } from '../../domain/numbers/units.ts';
import { advisoriesViewOf, overdueViewOf, rulesViewOf, standingViewOf } from '../../record/advisory-view.ts';
import { readOff } from '../../record/books.ts';
import { withdrawnViewOf } from '../../record/withdrawn-view.ts';
import { reachesAll } from '../allowed.ts';
import type { Parts } from '../parts.ts';
import { noSuchDrain } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { advisoriesPage, drainAdvisories, overduePage, rules } from './advisory-answers.ts';
import { problems } from './answers.ts';
import { afterName, pageOf } from './pages.ts';

type Adviser = (subject: Subject) => Advised;

interface Paged {
  Querystring: { readonly after?: string };
}

const PAGE_DRAINS = 50;

const FOR_REVIEW = 'As of what is charted, for review. A silent drain raises nothing here.';

const DOCS = {
  ofDrain: {
    operation: 'drainAdvisories',
    access: READ,
    summary: 'Thresholds that the data of a drain or of its patient crossed',
    about: `${FOR_REVIEW} A client that is confined to a drain is told of none that rests on other drains too.`,
    answers: {
      200: json('Advisories, and what could not be assessed.', drainAdvisories),
      ...problems({ 404: 'There is no such drain.' }),
    },
  },
  standing: {
    operation: 'standingAdvisories',
    access: LIST,
    summary: 'Standing advisories of open drains, by drain id',
    about: `${FOR_REVIEW} One of several drains is listed once.`,
    query: { after: afterName },
    answers: { 200: json(`Those of ${PAGE_DRAINS} drains.`, advisoriesPage), ...problems({}) },
  },
  overdue: {
    operation: 'overdueReadings',
    access: LIST,
    summary: 'Open drains whose last counted reading is older than expected, by drain id',
    about: 'No reading is not 0 mL: it is listed with its age and enters no sum.',
    query: { after: afterName },
    answers: { 200: json(`Those of ${PAGE_DRAINS} drains.`, overduePage), ...problems({}) },
  },
  rules: {
    operation: 'rules',
    access: 'known',
    concernsNobody: true,
    summary: 'The rule table in force, with sources and evidence',
    answers: { 200: json('Every row, on or off.', rules), ...problems({}) },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerAdvisories(app: FastifyInstance, parts: Parts): void {
  const { store, rules: table, policy } = parts;
  const adviser: Adviser = (subject) => advise([...subject.values()], policy.rules);

  app.get('/rules', { config: { doc: DOCS.rules } }, (_request, reply) =>
    sendPlain(reply, rulesViewOf(table)),
  );

  app.get<{ Params: { drain: string } }>(
    '/drains/:drain/advisories',
    { config: { doc: DOCS.ofDrain } },
    (request, reply) => {
      const { drain } = request.params;
      const isTold = told(request, parts);
      const found = readOff(store, drain, (subject) => {
        const book = subject.get(drain);
        return book === undefined ? null : ofDrain(parts, adviser, { book, subject, isTold });
      });
      return found === null ? sendProblem(reply, noSuchDrain(drain)) : sendPlain(reply, found);
    },
  );

  app.get<Paged>('/advisories', { config: { doc: DOCS.standing } }, async (request, reply) => {
    const { page, next_after } = drainsAfter(parts, request.query.after);
    const advisories = await standingOf(parts, page, adviser);
    request.shown = advisories.flatMap(({ drains }) => drains);
    return sendPlain(reply, { rules_version: table.version, advisories, next_after });
  });

  app.get<Paged>('/overdue', { config: { doc: DOCS.overdue } }, (request, reply) => {
    const now = epochMs(parts.now());
    const { page, next_after } = drainsAfter(parts, request.query.after);
    const overdue = page.flatMap((name) => overdueOn(parts, name, now));
    request.shown = overdue.map(({ drain }) => drain);
    return sendPlain(reply, { as_of: new Date(now).toISOString(), overdue, next_after });
  });
}

interface OfDrain {
  readonly book: Book;
  readonly subject: Subject;
  isTold(drains: readonly string[]): boolean;
}

const ofDrain = ({ store, rules }: Parts, adviser: Adviser, { book, subject, isTold }: OfDrain): object => ({
  ...advisoriesViewOf(book, adviser(subject), rules, isTold),
  withdrawn: withdrawnViewOf(book, subject, store, isTold),
});

/** Whether whoever asks may be told of what rests on these drains. */
const told =
  ({ principal }: Pick<FastifyRequest, 'principal'>, { store }: Parts) =>
  (drains: readonly string[]): boolean =>
    reachesAll(principal, drains, store);

/** One drain at a time: a long chart takes its time, and entries that wait come between. */
async function standingOf({ store }: Parts, names: readonly string[], adviser: Adviser) {
  const advisories: ReturnType<typeof standingViewOf> = [];
  for (const name of names) {
    advisories.push(...readOff(store, name, (subject) => standingViewOf(name, subject, adviser(subject))));
    await setImmediate();
  }
  return advisories;
}

const overdueOn = ({ store, rules }: Parts, name: string, now: EpochMs) =>
  readOff(store, name, (subject) => {
    const book = subject.get(name);
    return book === undefined ? [] : overdueViewOf(book, rules, now);
  });

const drainsAfter = ({ store }: Parts, name = '') =>
  pageOf(store.drains(name, PAGE_DRAINS + 1), PAGE_DRAINS, (last) => last);
