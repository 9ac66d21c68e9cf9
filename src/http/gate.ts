/**
 * Who may do what: each route says what it takes (`access`), and nothing else is looked at. A client that is confined to
 * a patient or a drain reaches only routes on which that can be told from the path, or that see to it by themselves.
 */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { AccessControl } from '../auth/access-control.ts';
import { type Caller, DEVELOPER, isBound, type Principal } from '../auth/principal.ts';
import { type Access, allows, scopeFor } from '../auth/scope.ts';
import { BadToken, CannotCheck } from '../auth/tokens.ts';
import type { Store } from '../store/port.ts';
import { outOfBounds, reachesDrain } from './allowed.ts';
import { callerOf } from './caller.ts';
import type { Limiter } from './limits.ts';
import { drainNamedBy } from './named-drain.ts';
import { problem } from './problem.ts';
import { refuse } from './refuse.ts';

declare module 'fastify' {
  interface FastifyRequest {
    /** Set before any handler of a route that is not public. */
    principal: Caller;
  }
}

export interface GateParts {
  readonly access: AccessControl;
  readonly store: Store;
  readonly limiter: Limiter;
}

export function gate(app: FastifyInstance, { access, store, limiter }: GateParts): void {
  app.decorateRequest('principal');
  if (access.isOpen) {
    app.addHook('onRequest', (request, _reply, done) => {
      request.principal = callerOf(request, DEVELOPER);
      done();
    });
    return;
  }
  app.addHook('onRequest', async (request, reply) => {
    const { doc } = request.routeOptions.config;
    if (doc === undefined || doc.access === 'public') return;
    const principal = await principalOf(request, access);
    if (principal === null || principal instanceof CannotCheck) {
      if (await limiter.refusesUnknown(request, reply)) return reply;
      return principal === null ? notKnown(request, reply) : notChecked(request, reply);
    }
    request.principal = callerOf(request, principal);
    if (await limiter.refusesClient(request, reply)) return reply;
    if (doc.access !== 'known' && !allows(principal.scope, doc.access))
      return notAllowed(request, reply, doc.access);
    if (isBound(principal) && !reaches(request, principal, store)) return refuse(request, reply, NOT_THEIRS);
  });
}

const TOKEN = /^Bearer ([^\s]+)$/i;

async function principalOf(
  request: FastifyRequest,
  access: AccessControl,
): Promise<Principal | CannotCheck | null> {
  const [, token] = TOKEN.exec(request.headers.authorization ?? '') ?? [];
  if (token === undefined) return null;
  try {
    return await access.principalOf(token);
  } catch (error) {
    if (error instanceof CannotCheck) {
      request.log.error({ id: request.id, why: error.message }, 'who asks cannot be told');
      return error;
    }
    if (!(error instanceof BadToken)) throw error;
    request.log.warn({ id: request.id, why: error.message }, 'a token was not believed');
    return null;
  }
}

function notKnown(request: FastifyRequest, reply: FastifyReply): FastifyReply {
  const error = request.headers.authorization === undefined ? '' : ', error="invalid_token"';
  reply.header('www-authenticate', `Bearer realm="drainledger"${error}`);
  const words = 'Send a bearer token or a key in Authorization; one that was sent is not believed.';
  return refuse(request, reply, problem(401, 'not-known', 'Who asks is not known', words));
}

/** Not 401: a client would take a good token for a bad one. */
function notChecked(request: FastifyRequest, reply: FastifyReply): FastifyReply {
  const words = 'The keys to check a token by cannot be had: send it again in a few seconds.';
  reply.header('retry-after', 5);
  return refuse(request, reply, problem(503, 'cannot-check', 'Who asks cannot be told now', words));
}

function notAllowed(
  request: FastifyRequest,
  reply: FastifyReply,
  access: Exclude<Access, 'public' | 'known'>,
): FastifyReply {
  const scope = scopeFor(access);
  const challenge = `Bearer realm="drainledger", error="insufficient_scope", scope="${scope}"`;
  reply.header('www-authenticate', challenge);
  const words = `It needs the scope ${scope}.`;
  return refuse(request, reply, problem(403, 'not-allowed', 'The client may not do this', words));
}

const NOT_THEIRS = outOfBounds(
  'The client is confined to one patient or drain, and this is not theirs, or cannot be told to be.',
);

function reaches(request: FastifyRequest, principal: Principal, store: Store): boolean {
  const { doc } = request.routeOptions.config;
  if (doc?.access === 'known' || doc?.seesToBounds === true) return true;
  const drain = drainNamedBy(request);
  return drain !== undefined && reachesDrain(principal, drain, store);
}
