/** Bodies are read by our own strict JSON reader: digits kept, nothing coerced, duplicate keys refused. */
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { type Fault, pointerOf, shortened } from '../intake/fault.ts';
import { ExactJsonError, type ExactValue, parseExactJson } from '../json/exact-json.ts';
import { type Problem, problemOfFaults } from './problem.ts';

/** A body that is no acceptable JSON. */
export class BadBody extends Error {
  readonly statusCode: number;
  readonly problem: Problem;
  constructor(status: number, slug: string, title: string, fault: Fault) {
    super(title);
    this.statusCode = status;
    this.problem = problemOfFaults(status, slug, title, [fault]);
  }
}

export function acceptJson(app: FastifyInstance, contentType: string): void {
  app.removeAllContentTypeParsers();
  alsoAcceptJson(app, contentType);
}

/** The parameters of a form, as they were sent. */
export function acceptForm(app: FastifyInstance): void {
  const type = 'application/x-www-form-urlencoded';
  const read = reading((body: string) => new URLSearchParams(body));
  app.addContentTypeParser(type, { parseAs: 'string' }, read);
}

export function alsoAcceptJson(app: FastifyInstance, contentType: string): void {
  app.addContentTypeParser(contentType, { parseAs: 'buffer' }, reading(readJson));
}

const CHARSET = /;\s*charset\s*=\s*"?([^";\s]*)/i;

/** Bytes are read as they are: taking them for something else would change what was charted. */
function refuseEncoded(request: FastifyRequest): void {
  refuseCompressed(request);
  const { headers } = request;
  const charset = CHARSET.exec(headers['content-type'] ?? '')?.[1];
  if (charset !== undefined && charset.toLowerCase() !== 'utf-8') {
    throw unsupported('content-type', charset, 'is a charset that is not read here', 'send UTF-8');
  }
}

function refuseCompressed({ headers }: FastifyRequest): void {
  const encoding = headers['content-encoding'];
  if (encoding !== undefined && encoding !== 'identity')
    throw unsupported('content-encoding', encoding, 'is not read here', 'send the body as it is');
}

function unsupported(header: string, value: string, detail: string, mend: string): BadBody {
  const fault = { pointer: header, value: shortened(value), detail, mend };
  return new BadBody(415, 'unsupported-media-type', 'The body is of no type that is read here', fault);
}

const UTF8 = new TextDecoder('utf-8', { fatal: true });

function readJson(body: Buffer): ExactValue {
  let text: string;
  try {
    text = UTF8.decode(body);
  } catch {
    throw notJson({ pointer: '', value: undefined, detail: 'is not UTF-8', mend: 'send JSON in UTF-8' });
  }
  return parsedJson(text);
}

/** @throws {BadBody} when it is no acceptable JSON */
export function parsedJson(text: string): ExactValue {
  try {
    return parseExactJson(text);
  } catch (error) {
    if (!(error instanceof ExactJsonError)) throw error;
    throw notJson({
      pointer: shortened(pointerOf(error.path)),
      value: shortened(error.found),
      detail: error.message,
      mend: error.mend,
    });
  }
}

/** The body as it is, whole: what its bytes mean it says itself. */
export function acceptBytes(app: FastifyInstance, types: string[]): void {
  app.addContentTypeParser(types, { parseAs: 'buffer' }, reading(asItIs, refuseCompressed));
}

/** The body as it comes in, for a route that reads it by itself. */
export function acceptStream(app: FastifyInstance, type: string): void {
  app.addContentTypeParser(type, reading(asItIs));
}

const asItIs = (body: unknown): unknown => body;

type Parser<T> = (
  request: FastifyRequest,
  body: T,
  done: (error: Error | null, read?: unknown) => void,
) => void;

/** Reads a body, unless what its headers say of it is refused. */
const reading =
  <T>(read: (body: T) => unknown, refuse = refuseEncoded): Parser<T> =>
  (request, body, done) => {
    try {
      refuse(request);
      done(null, read(body));
    } catch (error) {
      done(error instanceof Error ? error : new Error(String(error)));
    }
  };

const notJson = (fault: Fault): BadBody =>
  new BadBody(400, 'not-json', 'The body is no acceptable JSON; nothing was written', fault);
