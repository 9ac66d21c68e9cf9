/** Entries in: one by one, or as a batch with one outcome for each item. */

import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { writeRequest } from '../../audit/entry-text.ts';
import { CHART } from '../../auth/scope.ts';
import { batchBody, readBatch } from '../../intake/native/read-batch.ts';
import { readEntry, readPlacement } from '../../intake/native/read-entry.ts';
import { entryBody, placementBody } from '../../intake/native/schemas.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { drainNameOf } from '../../record/record.ts';
import type { Answer } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { faulty, type Problem } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendJson } from '../send-json.ts';
import { dryRun, outcomes, problems, receipt } from './answers.ts';
import { answerItem, foreseen, recorded } from './recorded.ts';

const BATCH_BYTES = 2 * 1024 * 1024;

export const DRY_RUN = {
  'dry-run': z.enum(['true', 'false']).meta({
    description: 'true: answers 200 with what the entry would be answered; nothing is written.',
  }),
};

const ONE_ENTRY = {
  200: json('The same message was recorded before: the answer it got then.', receipt),
  201: json('Recorded: on disk before this answer left.', receipt),
};
const ONE_OR_DRY = json(`${ONE_ENTRY[200].text} Or the answer of a dry run.`, z.union([receipt, dryRun]));
const NOT_TAKEN = {
  400: 'The body is no acceptable JSON.',
  409: 'The identifier names another message, or the entry to change is not the newest form or is void.',
  415: 'The body is not JSON in UTF-8, or is compressed.',
  422: 'The message shows by itself that it is wrong, or does not fit what it changes.',
  503: 'The store cannot write now.',
};

const DOCS = {
  place: {
    operation: 'placeDrain',
    access: CHART,
    seesToBounds: true,
    summary: 'Place a drain',
    about: 'Makes a drain. Its id is made from the identifier of the placement.',
    body: placementBody,
    answers: { ...ONE_ENTRY, ...problems(NOT_TAKEN) },
  },
  enter: {
    operation: 'enter',
    access: CHART,
    summary: 'Enter one fact about a drain',
    about:
      'What only other entries could show to be wrong is accepted and marked. The answer carries what is derived.',
    body: entryBody,
    query: DRY_RUN,
    answers: { ...ONE_ENTRY, 200: ONE_OR_DRY, ...problems({ ...NOT_TAKEN, 404: 'There is no such drain.' }) },
  },
  batch: {
    operation: 'enterMany',
    access: CHART,
    seesToBounds: true,
    summary: 'Enter facts about several drains',
    about: 'One outcome an item, in order; a bad item harms no other. At most 2 MiB.',
    body: batchBody,
    answers: {
      200: json('What became of each item.', outcomes),
      ...problems({ 400: NOT_TAKEN[400], 415: NOT_TAKEN[415], 422: 'The body is no batch.' }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

interface OfDrain {
  Params: { drain: string };
  Querystring: { readonly 'dry-run'?: 'true' | 'false' };
}

export function registerEntries(app: FastifyInstance, parts: Parts): void {
  app.post('/drains', { config: { doc: DOCS.place } }, async (request, reply) => {
    const sent = request.body as ExactValue;
    const read = readPlacement(sent);
    if ('faults' in read) return sendProblem(reply, faulty(read.faults));
    const drain = drainNameOf(read.body.identifier);
    request.shown = [drain];
    const answer = await recorded(parts, request.principal, [
      { drain, body: read.body, request: writeRequest(sent) },
    ]);
    return sendAnswer(request, reply, answer, `/v1/drains/${drain}`);
  });

  app.post<OfDrain>('/drains/:drain/entries', { config: { doc: DOCS.enter } }, async (request, reply) => {
    const { drain } = request.params;
    const sent = request.body as ExactValue;
    const read = readEntry(sent, parts.profiles);
    if ('faults' in read) return sendProblem(reply, faulty(read.faults));
    const incoming = { drain, body: read.body, request: writeRequest(sent) };
    if (request.query['dry-run'] === 'true')
      return sendAnswer(request, reply, foreseen(parts, request.principal, incoming), '');
    const answer = await recorded(parts, request.principal, [incoming]);
    return sendAnswer(request, reply, answer, `/v1/drains/${drain}/entries`);
  });

  app.post('/entries', { bodyLimit: BATCH_BYTES, config: { doc: DOCS.batch } }, async (request, reply) => {
    const read = readBatch(request.body as ExactValue);
    if ('faults' in read) return sendProblem(reply, faulty(read.faults));
    const answers = await Promise.all(read.items.map((item) => answerItem(parts, request.principal, item)));
    return sendJson(reply, `{"outcomes":[${answers.map(outcomeText).join(',')}]}`);
  });
}

export function sendAnswer(
  request: FastifyRequest,
  reply: FastifyReply,
  answer: Answer | Problem,
  location: string,
): FastifyReply {
  if ('type' in answer) return sendProblem(reply, answer);
  request.isRecorded = answer.status === 201 || answer.status === 202;
  if (answer.status === 201) reply.header('location', location);
  return sendJson(reply.code(answer.status), answer.body);
}

function outcomeText(answer: Answer | Problem): string {
  if ('type' in answer) return JSON.stringify({ status: answer.status, problem: answer });
  return `{"status":${answer.status},"result":${answer.body}}`;
}
