import { request as httpRequest, type IncomingMessage } from 'node:http';
import { request as httpsRequest } from 'node:https';
import { Readable } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { linesOf } from '../../intake/lines.ts';

interface Told {
  readonly detail: string;
  readonly errors?: readonly { readonly value?: string }[];
}

export type LineResult =
  | { readonly line: number; readonly status: number; readonly problem?: Told }
  /** The last one, which counts the others. */
  | { readonly lines: number };

const RESULT_BYTES = 1024 * 1024;

/**
 * Sends lines and gives the results while they are sent.
 * @param who headers that say who sends them
 * @param lines that end where there are no more, and do not throw
 * @throws {Error} when nothing answers, or it refuses the request as a whole
 */
export async function* postLines(
  url: string,
  who: Readonly<Record<string, string>>,
  lines: AsyncIterable<string>,
): AsyncGenerator<LineResult> {
  const send = url.startsWith('https:') ? httpsRequest : httpRequest;
  const outgoing = send(url, { method: 'POST', headers: { ...who, 'content-type': 'application/x-ndjson' } });
  const response = new Promise<IncomingMessage>((resolve, reject) => {
    outgoing.once('response', resolve).once('error', reject);
  });
  // Where the other side ends the connection, the missing last line tells.
  const sent = pipeline(Readable.from(lines), outgoing).catch(() => undefined);
  const answer = await response;
  if (answer.statusCode !== 200)
    throw new Error(`${url} answers ${answer.statusCode}: ${await textOf(answer)}`);
  try {
    for await (const line of linesOf(answer, RESULT_BYTES))
      if ('text' in line) yield JSON.parse(line.text) as LineResult;
  } catch (error) {
    if (!isCut(error)) throw error;
  }
  await sent;
}

const isCut = (error: unknown): boolean =>
  error instanceof Error &&
  'code' in error &&
  ['ECONNRESET', 'EPIPE', 'ERR_STREAM_PREMATURE_CLOSE'].includes(String(error.code));

async function textOf(answer: IncomingMessage): Promise<string> {
  let text = '';
  for await (const part of answer) text += part;
  return text.slice(0, 2000);
}
