/**
 * Entries in as lines, a result out for each, while the lines still come: as many as wanted, in memory that does not
 * grow. A cut does no harm: the same lines sent again are answered with what they made.
 */

import { once } from 'node:events';
import { PassThrough } from 'node:stream';
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import type { Caller } from '../../auth/principal.ts';
import { CHART } from '../../auth/scope.ts';
import { type Line, linesOf } from '../../intake/lines.ts';
import { readItem } from '../../intake/native/read-batch.ts';
import { acceptStream, BadBody, parsedJson } from '../body.ts';
import type { Answer } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { faulty, type Problem, problem } from '../problem.ts';
import type { RouteDoc } from '../route-doc.ts';
import { lineResult, problems } from './answers.ts';
import { answerItem } from './recorded.ts';

const NDJSON = 'application/x-ndjson';
const LINE_BYTES = 256 * 1024;
/** Lines under way: enough to fill the groups that share a commit, and no more, as what is charted at a bedside waits behind them. */
const MOST_UNDER_WAY = 64;
/**
 * Results kept for a client that sends all it has before it reads. Only beyond that does reading wait for it, and a
 * client that never reads is cut as one that stalls.
 */
const MOST_UNREAD_BYTES = 32 * 1024 * 1024;

const DOC = {
  operation: 'enterLines',
  access: CHART,
  seesToBounds: true,
  summary: 'Enter facts about drains, one a line, as many as wanted',
  about:
    'Each line is an item as in a batch. Results come in the order of the lines while they are read; the last line counts them, and without it the answer was cut: send the lines again. With dry-run=true each line is judged by itself and nothing is written.',
  query: {
    'dry-run': z.enum(['true', 'false']).meta({
      description: 'true: nothing is written; what only the ledger could show is not looked at.',
    }),
    results: z.enum(['brief', 'full']).meta({
      description: 'full: with the receipt of each line that is taken; brief unless given.',
    }),
  },
  body: z.string().meta({ description: 'Lines of JSON, each at most 256 KiB.' }),
  bodyTypes: [NDJSON],
  streams: true,
  answers: {
    200: { text: 'What became of each line.', mediaType: NDJSON, schema: lineResult },
    ...problems({ 415: 'The body is no NDJSON in UTF-8, or is compressed.' }),
  },
} as const satisfies RouteDoc;

interface Asked {
  Querystring: { readonly 'dry-run'?: 'true' | 'false'; readonly results?: 'brief' | 'full' };
}

export function registerLines(app: FastifyInstance, parts: Parts): void {
  app.register(async (lines) => {
    lines.removeAllContentTypeParsers();
    acceptStream(lines, NDJSON);
    lines.post<Asked>('/entries/lines', { config: { doc: DOC } }, (request, reply) => {
      const { 'dry-run': dryRun, results } = request.query;
      const answer = (line: Line) =>
        dryRun === 'true' ? judged(parts, line) : taken(parts, request.principal, line);
      const out = new PassThrough({ highWaterMark: MOST_UNREAD_BYTES });
      // Where either side is cut the answer ends without its last line.
      const told = { isFull: results === 'full', isDry: dryRun === 'true' };
      answerLines(linesOf(request.raw, LINE_BYTES), answer, told, out).catch(() => {
        out.destroy();
        request.raw.destroy();
      });
      return reply.type(NDJSON).send(out);
    });
  });
}

type LineAnswer = Answer | Problem;

interface Told {
  /** With the receipts. */
  readonly isFull: boolean;
  readonly isDry: boolean;
}

/** Results go out in the order of the lines, each as soon as it is there and those before it are out. */
async function answerLines(
  lines: AsyncIterable<Line>,
  answer: (line: Line) => Promise<LineAnswer>,
  { isFull, isDry }: Told,
  out: PassThrough,
): Promise<void> {
  const counts = { lines: 0, recorded: 0, unmatched: 0, repeated: 0, refused: 0 };
  const writeAfter = async (
    before: Promise<void>,
    line: Line,
    result: Promise<LineAnswer>,
  ): Promise<void> => {
    const [taken] = await Promise.all([result, before]);
    counts.lines += 1;
    counts[becameOf(taken)] += 1;
    if (!out.write(resultText(line.number, taken, isFull))) await once(out, 'drain');
  };
  let written = Promise.resolve();
  const underWay: Promise<void>[] = [];
  for await (const line of lines) {
    written = writeAfter(written, line, answer(line));
    // Told by what is awaited below; until then it must not end the process.
    written.catch(() => undefined);
    underWay.push(written);
    if (underWay.length >= MOST_UNDER_WAY) await underWay.shift();
  }
  await written;
  const { lines: all, repeated: acceptable, refused } = counts;
  out.end(`${JSON.stringify(isDry ? { lines: all, dry_run: true, acceptable, refused } : counts)}\n`);
}

function becameOf(answer: LineAnswer): 'recorded' | 'unmatched' | 'repeated' | 'refused' {
  if ('type' in answer) return 'refused';
  if (answer.status === 201) return 'recorded';
  return answer.status === 202 ? 'unmatched' : 'repeated';
}

function resultText(line: number, result: LineAnswer, isFull: boolean): string {
  if ('type' in result) return `${JSON.stringify({ line, status: result.status, problem: result })}\n`;
  const receipt = isFull ? `,"result":${result.body}` : '';
  return `{"line":${line},"status":${result.status}${receipt}}\n`;
}

async function taken(parts: Parts, caller: Caller, line: Line): Promise<LineAnswer> {
  const item = itemOf(line);
  return 'value' in item ? answerItem(parts, caller, item.value) : item;
}

async function judged({ profiles }: Parts, line: Line): Promise<LineAnswer> {
  const item = itemOf(line);
  if (!('value' in item)) return item;
  const read = readItem(item.value, profiles);
  return 'faults' in read ? faulty(read.faults) : { status: 200, body: 'null' };
}

function itemOf(line: Line): { readonly value: ReturnType<typeof parsedJson> } | Problem {
  if ('fault' in line) return LINE_FAULTS[line.fault];
  try {
    return { value: parsedJson(line.text) };
  } catch (error) {
    if (error instanceof BadBody) return error.problem;
    throw error;
  }
}

const LINE_FAULTS: Readonly<Record<Extract<Line, { fault: string }>['fault'], Problem>> = {
  'too-long': problem(
    413,
    'too-large',
    'The line is too large',
    `It is over ${LINE_BYTES} bytes: send less.`,
  ),
  'not-utf-8': problem(400, 'not-json', 'The line is no acceptable JSON', 'It is not UTF-8: send UTF-8.'),
};
