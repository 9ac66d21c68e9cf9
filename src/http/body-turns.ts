/**
 * Reads one body a turn of the event loop. Where fifty arrive together, to read, check and queue all of them at once
 * would hold everybody up for as long as that takes; so whoever only reads is answered in between.
 */
import { IncomingMessage } from 'node:http';
import type { FastifyInstance } from 'fastify';
import { hasBody } from './slow-requests.ts';

export function readBodiesInTurn(app: FastifyInstance): void {
  const waiting: (() => void)[] = [];
  /** Whether this turn of the event loop has read one. */
  let isTaken = false;

  function take(read: () => void): void {
    isTaken = true;
    setImmediate(next);
    read();
  }

  function next(): void {
    isTaken = false;
    const read = waiting.shift();
    if (read !== undefined) take(read);
  }

  app.addHook('preParsing', ({ raw }, _reply, payload, done) => {
    // What is asked inside the service is part of a request that had its turn.
    const isFromOutside = raw instanceof IncomingMessage;
    if (!isFromOutside || !hasBody(raw)) return done();
    const read = (): void => done(null, payload);
    if (isTaken) waiting.push(read);
    else take(read);
  });
}
