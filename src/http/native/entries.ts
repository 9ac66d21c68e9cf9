/** Entries in: one by one, or as a batch with one outcome for each item. */
import type { FastifyInstance, FastifyReply } from 'fastify';
import { writeRequest } from '../../audit/entry-text.ts';
import { type Read, readEntry, readPlacement } from '../../intake/native/read-entry.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { drainNameOf, type Incoming } from '../../record/record.ts';
import { StoreBusy, StoreFailed } from '../../store/port.ts';
import { type Answer, answerOf } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { faulty, type Problem, problem, sendProblem } from '../problem.ts';

const MOST_ITEMS = 500;
const BATCH_BYTES = 2 * 1024 * 1024;

export function registerEntries(app: FastifyInstance, parts: Parts): void {
  app.post('/drains', async (request, reply) => {
    const sent = request.body as ExactValue;
    const read = readPlacement(sent);
    if ('faults' in read) return sendProblem(reply, faulty(read.faults));
    const drain = drainNameOf(read.body.identifier);
    const answer = await recorded(parts, [{ drain, body: read.body, request: writeRequest(sent) }]);
    return send(reply, answer, `/v1/drains/${drain}`);
  });

  app.post<{ Params: { drain: string } }>('/drains/:drain/entries', async (request, reply) => {
    const { drain } = request.params;
    const incoming = incomingOf(
      drain,
      request.body as ExactValue,
      readEntry(request.body as ExactValue, parts.profiles),
    );
    if ('status' in incoming) return sendProblem(reply, incoming);
    return send(reply, await recorded(parts, [incoming]), `/v1/drains/${drain}/entries`);
  });

  app.post('/entries', { bodyLimit: BATCH_BYTES }, async (request, reply) => {
    const items = itemsOf(request.body as ExactValue);
    if ('status' in items) return sendProblem(reply, items);
    const answers = await Promise.all(items.map((item) => answerItem(parts, item)));
    return reply
      .type('application/json; charset=utf-8')
      .send(`{"outcomes":[${answers.map(outcomeText).join(',')}]}`);
  });
}

function incomingOf(drain: string, sent: ExactValue, read: Read): Incoming | Problem {
  return 'faults' in read ? faulty(read.faults) : { drain, body: read.body, request: writeRequest(sent) };
}

/** Records a unit and answers with what stands in the way, or with the receipts: of one entry, or of several as a list. */
async function recorded(parts: Parts, unit: readonly Incoming[]): Promise<Answer | Problem> {
  const outcomes = await parts.record(unit);
  const answers = outcomes.map(answerOf);
  const [first] = answers;
  if (first === undefined) throw new Error('a unit holds at least one entry');
  if (answers.length === 1) return first;
  const stopped = answers.find((answer) => 'type' in answer);
  if (stopped !== undefined) return stopped;
  return {
    status: first.status,
    body: `[${answers.map((answer) => ('body' in answer ? answer.body : '')).join(',')}]`,
  };
}

function send(reply: FastifyReply, answer: Answer | Problem, location: string): FastifyReply {
  if ('type' in answer) return sendProblem(reply, answer);
  if (answer.status === 201) reply.header('location', location);
  return reply.code(answer.status).type('application/json; charset=utf-8').send(answer.body);
}

function itemsOf(sent: ExactValue): readonly ExactValue[] | Problem {
  const entries = isObject(sent) && Object.keys(sent).length === 1 ? sent.entries : undefined;
  if (!Array.isArray(entries) || entries.length === 0 || entries.length > MOST_ITEMS) {
    const mend = `send {"entries": [...]} with 1 to ${MOST_ITEMS} items`;
    return faulty([{ pointer: '/entries', value: undefined, detail: 'is no list of entries', mend }]);
  }
  return entries as readonly ExactValue[];
}

/** An item is an entry with its drain, or `{"together": [...]}`: entries of several drains, all or none. */
async function answerItem(parts: Parts, item: ExactValue): Promise<Answer | Problem> {
  const together = isObject(item) && Array.isArray(item.together) ? (item.together as ExactValue[]) : [item];
  const unit: Incoming[] = [];
  for (const sent of together) {
    const incoming = fromItem(parts, sent);
    if ('status' in incoming) return incoming;
    unit.push(incoming);
  }
  if (unit.length === 0 || unit.length > 2) {
    return faulty([
      { pointer: '/together', value: undefined, detail: 'holds no one or two entries', mend: 'send 1 or 2' },
    ]);
  }
  try {
    return await recorded(parts, unit);
  } catch (error) {
    if (error instanceof StoreBusy)
      return problem(503, 'busy', 'Too much is queued; nothing was written', error.message);
    if (error instanceof StoreFailed)
      return problem(503, 'not-durable', 'Nothing was written', error.message);
    throw error;
  }
}

function fromItem(parts: Parts, item: ExactValue): Incoming | Problem {
  const { drain, ...entry } = isObject(item) ? item : {};
  if (typeof drain !== 'string') {
    return faulty([
      { pointer: '/drain', value: undefined, detail: 'names no drain', mend: 'send the id of the drain' },
    ]);
  }
  return incomingOf(drain, entry, readEntry(entry, parts.profiles));
}

function outcomeText(answer: Answer | Problem): string {
  if ('type' in answer) return JSON.stringify({ status: answer.status, problem: answer });
  return `{"status":${answer.status},"result":${answer.body}}`;
}

function isObject(value: ExactValue): value is Record<string, ExactValue> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}
