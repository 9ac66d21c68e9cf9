/** What is refused before a handler sees it: unknown paths, methods and query parameters. */
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { type Fault, shown } from '../intake/fault.ts';
import { faultsOf } from '../intake/native/zod-faults.ts';
import { badQuery, type Problem, problem } from './problem.ts';
import { pathOf, refuse } from './refuse.ts';
import type { Routes } from './routes.ts';

export function guard(app: FastifyInstance, routes: Routes): void {
  // Before the body is read: what is sent to no route needs no parsing.
  app.addHook('onRequest', (request, reply, done) => {
    if (!request.is404) {
      const faults = queryFaults(request);
      if (faults.length === 0) done();
      else refuse(request, reply, badQuery(faults));
      return;
    }
    const allowed = routes.methodsAt(pathOf(request));
    if (allowed.length > 0) reply.header('allow', allowed.join(', '));
    refuse(
      request,
      reply,
      allowed.length > 0 ? badMethod(request.method, allowed) : nothingHere(request.method),
    );
  });
  // The hook has answered before this; without a handler of ours the framework would describe its own.
  app.setNotFoundHandler((request, reply) => refuse(request, reply, nothingHere(request.method)));
}

function queryFaults(request: FastifyRequest): readonly Fault[] {
  const { doc } = request.routeOptions.config;
  if (doc?.readsQuery === true) return [];
  const query = request.query as Readonly<Record<string, unknown>>;
  const known = doc?.query ?? {};
  return Object.entries(query).flatMap(([name, value]) => parameterFaults(known, name, value));
}

function parameterFaults(
  known: Readonly<Record<string, z.ZodType>>,
  name: string,
  value: unknown,
): readonly Fault[] {
  const pointer = `?${name}`;
  const schema = Object.hasOwn(known, name) ? known[name] : undefined;
  if (schema === undefined) {
    const names = Object.keys(known);
    const mend = names.length === 0 ? 'leave it out: none is known here' : `send only ${names.join(', ')}`;
    return [{ pointer, value: shown(value), detail: 'is no parameter of this', mend }];
  }
  if (Array.isArray(value))
    return [{ pointer, value: shown(value), detail: 'stands more than once', mend: 'send it once' }];
  const read = z.object({ [name]: schema }).safeParse({ [name]: value });
  return read.success ? [] : faultsOf(read.error, { [name]: value }).map((fault) => ({ ...fault, pointer }));
}

function badMethod(method: string, allowed: readonly string[]): Problem {
  const detail = `${method} is not supported at this path: use ${allowed.join(' or ')}`;
  return problem(405, 'method-not-allowed', 'This path has no such method', detail);
}

const nothingHere = (method: string): Problem =>
  problem(
    404,
    'no-such-route',
    'There is nothing here',
    `${method} at this path is not known: see GET /openapi.json`,
  );
