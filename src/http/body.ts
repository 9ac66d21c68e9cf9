/** Bodies are read by our own strict JSON reader: digits kept, nothing coerced, duplicate keys refused. */
import type { FastifyInstance } from 'fastify';
import { ExactJsonError, type ExactValue, parseExactJson } from '../json/exact-json.ts';

/** A body that is no acceptable JSON. */
export class BadBody extends Error {
  readonly statusCode: number;
  constructor(statusCode: number, message: string) {
    super(message);
    this.statusCode = statusCode;
  }
}

export function acceptJson(app: FastifyInstance, contentTypes: string[]): void {
  app.removeAllContentTypeParsers();
  app.addContentTypeParser(contentTypes, { parseAs: 'buffer' }, (request, body, done) => {
    const encoding = request.headers['content-encoding'];
    if (encoding !== undefined && encoding !== 'identity') {
      done(new BadBody(415, `content-encoding '${encoding}' is not accepted: send the body as it is`));
      return;
    }
    try {
      done(null, readJson(body as Buffer));
    } catch (error) {
      done(error instanceof Error ? error : new Error(String(error)));
    }
  });
}

function readJson(body: Buffer): ExactValue {
  try {
    return parseExactJson(new TextDecoder('utf-8', { fatal: true }).decode(body));
  } catch (error) {
    if (error instanceof ExactJsonError)
      throw new BadBody(400, `the body is no acceptable JSON: ${error.message}`);
    throw new BadBody(400, 'the body is not UTF-8: send JSON in UTF-8');
  }
}
