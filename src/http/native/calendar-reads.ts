/** What drained by clock hour, shift and fluid-balance day: of one drain, and of all drains of its patient. */

import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { READ } from '../../auth/scope.ts';
import type { CalendarKind } from '../../domain/vocabulary/fact.ts';
import { readOff } from '../../record/books.ts';
import { CALENDAR_KINDS } from '../../record/calendar.ts';
import { MOST_WINDOWS, patientWindowsViewOf, windowsViewOf } from '../../record/calendar-view.ts';
import { sumRefusal } from '../allowed.ts';
import type { Parts } from '../parts.ts';
import { noSuchDrain } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { patientWindows, windows } from './calendar-answers.ts';
import { badParameter, moment, readBetween } from './query-parts.ts';

interface OfCalendar {
  Params: { drain: string };
  Querystring: { readonly kind?: CalendarKind; readonly from?: string; readonly to?: string };
}

const QUERY = {
  kind: z.enum(CALENDAR_KINDS).meta({ description: 'Default: hour.' }),
  from: moment.meta({
    format: 'date-time',
    description: 'Default: 24 h before `to`; for days 3 times 24 h.',
  }),
  to: moment.meta({
    format: 'date-time',
    description:
      'Default: the newest level that counts; over several drains, the last time that all have one for.',
  }),
};

const ABOUT = `Windows that hold any of the time from \`from\` to \`to\`, at most ${MOST_WINDOWS}, in the zone of the facility.`;
const NO_DRAIN = problems({
  400: 'The query cannot be answered as it is.',
  404: 'There is no such drain.',
});

const DOCS = {
  windows: {
    operation: 'calendarWindows',
    access: READ,
    summary: 'What a drain gave by clock hour, shift or fluid-balance day',
    about: ABOUT,
    query: QUERY,
    answers: { 200: json('The windows.', windows), ...NO_DRAIN },
  },
  patientWindows: {
    operation: 'patientWindows',
    access: READ,
    summary: 'What all drains of the patient of a drain gave, by clock hour, shift or fluid-balance day',
    about: ABOUT,
    query: QUERY,
    answers: { 200: json('The windows.', patientWindows), ...NO_DRAIN },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerCalendar(app: FastifyInstance, { store, calendar }: Parts): void {
  const answer = (
    request: FastifyRequest<OfCalendar>,
    reply: FastifyReply,
    view: typeof patientWindowsViewOf,
  ): FastifyReply => {
    const { drain } = request.params;
    const { kind = 'hour', from } = request.query;
    const between = readBetween(request.query);
    if ('type' in between) return sendProblem(reply, between);
    const asked = { kind, ...between };
    const found = readOff(store, drain, (subject) => {
      const book = subject.get(drain);
      return book === undefined ? null : view(subject, book, calendar, asked);
    });
    if (found === null) return sendProblem(reply, noSuchDrain(drain));
    if ('tooMany' in found)
      return sendProblem(
        reply,
        badParameter('from', from, `gives more than ${MOST_WINDOWS} windows`, 'ask for less time'),
      );
    return sendPlain(reply, found);
  };

  app.get<OfCalendar>('/drains/:drain/windows', { config: { doc: DOCS.windows } }, (request, reply) =>
    answer(request, reply, (_subject, ...of) => windowsViewOf(...of)),
  );
  app.get<OfCalendar>(
    '/drains/:drain/patient-windows',
    { config: { doc: DOCS.patientWindows } },
    (request, reply) => {
      const refusal = sumRefusal(request.principal, store, request.params.drain);
      return refusal === null ? answer(request, reply, patientWindowsViewOf) : sendProblem(reply, refusal);
    },
  );
}
