/**
 * How much a client may ask. Each client has its own measure, so that one that runs wild takes nothing from a ward; what
 * is asked without being known is measured by address, and never keeps out a client that is known.
 */
import { IncomingMessage } from 'node:http';
import rateLimit from '@fastify/rate-limit';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { problem } from './problem.ts';
import { refuse } from './refuse.ts';

/** Requests a minute. */
export interface Limits {
  readonly ofClient: number;
  /** Of all that are not known and come from one address. */
  readonly ofUnknown: number;
}

const MINUTE_MS = 60_000;
/** Clients and addresses that are remembered; beyond that the longest silent is forgotten. */
const MOST_REMEMBERED = 5000;
const MOST_CONNECTIONS = 2000;

export interface Limiter {
  /** Answers with 429 where the client has asked too much. @returns whether it was answered */
  refusesClient(request: FastifyRequest, reply: FastifyReply): Promise<boolean>;
  refusesUnknown(request: FastifyRequest, reply: FastifyReply): Promise<boolean>;
}

/** @param limits null: nobody is measured */
export function limitRates(app: FastifyInstance, limits: Limits | null): Limiter {
  app.server.maxConnections = MOST_CONNECTIONS;
  if (limits === null) return { refusesClient: async () => false, refusesUnknown: async () => false };
  app.register(rateLimit, { global: false, cache: MOST_REMEMBERED, timeWindow: MINUTE_MS });
  const measure = (max: number, keyOf: (request: FastifyRequest) => string) => {
    let check: ReturnType<FastifyInstance['createRateLimit']> | undefined;
    return async (request: FastifyRequest, reply: FastifyReply): Promise<boolean> => {
      // What is asked inside the service is part of a batch, which was measured.
      if (!(request.raw instanceof IncomingMessage)) return false;
      check ??= app.createRateLimit({ max, keyGenerator: keyOf });
      const found = await check(request);
      if (found.isAllowed || !found.isExceeded) return false;
      reply.header('retry-after', found.ttlInSeconds);
      refuse(request, reply, tooMany(max, found.ttlInSeconds));
      return true;
    };
  };
  return {
    refusesClient: measure(limits.ofClient, ({ principal }) => `client ${principal.client}`),
    refusesUnknown: measure(limits.ofUnknown, ({ ip }) => `address ${ip}`),
  };
}

const tooMany = (max: number, seconds: number) =>
  problem(
    429,
    'too-many-requests',
    'Too much is asked',
    `More than ${max} requests came in a minute: ask again in ${seconds} s. Entries can be sent many at once.`,
  );
