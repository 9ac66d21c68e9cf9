/** All that was recorded of a drain as CSV, for people who audit it. */
import { Readable } from 'node:stream';
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { READ } from '../../auth/scope.ts';
import { COLUMNS, drainCsv } from '../../record/csv/drain-csv.ts';
import { reachesDrain, readsEntry } from '../allowed.ts';
import type { Parts } from '../parts.ts';
import { noSuchDrain } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import type { RouteDoc } from '../route-doc.ts';
import { problems } from './answers.ts';
import { moment, readBetween } from './query-parts.ts';

interface OfExport {
  Params: { drain: string };
  Querystring: { readonly from?: string; readonly to?: string };
}

const ABOUT =
  `A record an entry, in the order of the log, corrections and withdrawals among them, and under each first
entry what follows from it as it stands now. Columns: ${COLUMNS.join(', ')}. The record of an entry has its status: charted,
correction (stands in the place of another), corrected and superseded (by changed_by), withdrawn (by changed_by), withdrawal,
interim (kept, not charted), elsewhere (counts for counts_for, where its device was, or for none), rerouting. A client that
is confined is told 'another drain' of one that is not its own, and no reason, note or body of what was charted while the
drain was linked to somebody else. value has the unit beside it; a value that cannot be known is empty and absent_reason says why; at_least marks a lower bound. absent_reason
beside a value says why a sum is no total. log_index is what GET /audit/proof takes. Text that begins with = + - @ or an apostrophe, a tab
or a line end has one apostrophe put before it, so that no spreadsheet runs it: take the first apostrophe off each cell that
begins with one. It is a record and no alarm; defer to local policy and the clinician.`.replaceAll('\n', ' ');

const DOC = {
  operation: 'exportDrainCsv',
  access: READ,
  summary: 'All that was recorded of a drain, with what follows from it, as CSV',
  about: ABOUT,
  query: {
    from: moment.meta({
      format: 'date-time',
      description: 'Only what is charted for this time and later, with all corrections of it. Default: all.',
    }),
    to: moment.meta({ format: 'date-time', description: 'Only what is charted for before. Default: all.' }),
  },
  answers: {
    200: { text: 'CSV (RFC 4180), UTF-8, with a header.', schema: z.string(), mediaType: 'text/csv' },
    ...problems({ 400: 'The query cannot be answered as it is.', 404: 'There is no such drain.' }),
  },
} as const satisfies RouteDoc;

export function registerExport(app: FastifyInstance, { store }: Parts): void {
  app.get<OfExport>('/drains/:drain/export.csv', { config: { doc: DOC } }, (request, reply) => {
    const { drain } = request.params;
    const period = readBetween(request.query);
    if ('type' in period) return sendProblem(reply, period);
    const book = store.books(drain).get(drain);
    if (book === undefined) return sendProblem(reply, noSuchDrain(drain));
    const source = {
      places: store.places,
      entriesAt: store.entriesAt,
      device: store.device,
      devicesOf: store.devicesOf,
      isTold: readsEntry(request.principal, store, drain),
      isSeen: (other: string) => reachesDrain(request.principal, other, store),
    };
    return (
      reply
        .type('text/csv; charset=utf-8; header=present')
        .header('content-disposition', `attachment; filename="drain-${drain}.csv"`)
        // A page is read when the client has taken the one before.
        .send(Readable.from(drainCsv(source, book, period)))
    );
  });
}
