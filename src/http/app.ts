/** Builds the HTTP side and never listens. */
import Fastify, { type FastifyBaseLogger, type FastifyError, type FastifyInstance } from 'fastify';
import { StoreBusy, StoreFailed } from '../store/port.ts';
import { acceptJson } from './body.ts';
import { outcomeErrors } from './fhir/errors.ts';
import { registerFhir } from './fhir/observations.ts';
import { endKeepAliveOnClose } from './graceful-close.ts';
import { registerEntries } from './native/entries.ts';
import { registerReads } from './native/reads.ts';
import { registerOps } from './ops.ts';
import type { Parts } from './parts.ts';
import { problem, sendProblem } from './problem.ts';

export interface AppOptions {
  readonly parts: Parts;
  readonly logger: FastifyBaseLogger;
}

const BODY_BYTES = 256 * 1024;

export function buildApp({ parts, logger }: AppOptions): FastifyInstance {
  const app = Fastify({
    loggerInstance: logger,
    disableRequestLogging: true,
    bodyLimit: BODY_BYTES,
    requestTimeout: 10_000,
    connectionTimeout: 30_000,
    keepAliveTimeout: 10_000,
    routerOptions: { maxParamLength: 128 },
    return503OnClosing: false,
  });
  endKeepAliveOnClose(app);
  logAnswers(app);
  acceptJson(app, ['application/json']);
  problemErrors(app);
  registerOps(app, parts);
  app.register(
    async (native) => {
      registerReads(native, parts);
      registerEntries(native, parts);
    },
    { prefix: '/v1' },
  );
  app.register(
    async (fhir) => {
      outcomeErrors(fhir);
      registerFhir(fhir, parts);
    },
    { prefix: '/fhir' },
  );
  return app;
}

/** One line an answer: the route's pattern, never the URL, which could name a patient. */
function logAnswers(app: FastifyInstance): void {
  app.addHook('onResponse', async (request, reply) => {
    const route = request.routeOptions.url ?? 'unknown';
    const ms = Math.round(reply.elapsedTime);
    request.log.info({ method: request.method, route, status: reply.statusCode, ms }, 'answered');
  });
}

function problemErrors(app: FastifyInstance): void {
  app.setNotFoundHandler((request, reply) => {
    const detail = `${request.method} at this path is not known; see GET /openapi.json`;
    return sendProblem(reply, problem(404, 'no-such-route', 'There is nothing here', detail));
  });
  app.setErrorHandler((error: FastifyError, request, reply) => {
    if (error instanceof StoreBusy) {
      reply.header('retry-after', error.retryAfterS);
      return sendProblem(
        reply,
        problem(503, 'busy', 'Too much is queued; nothing was written', 'Send it again a little later.'),
      );
    }
    if (error instanceof StoreFailed) {
      request.log.error({ name: error.name, message: error.message }, 'not durable');
      return sendProblem(
        reply,
        problem(
          503,
          'not-durable',
          'Nothing was written',
          'The store cannot write now; send it again later.',
        ),
      );
    }
    const status = error.statusCode ?? 500;
    if (status < 500)
      return sendProblem(reply, problem(status, 'bad-request', 'The request cannot be read', error.message));
    request.log.error({ code: error.code, name: error.name, stack: error.stack }, 'request failed');
    return sendProblem(
      reply,
      problem(500, 'failed', 'The server failed', 'Nothing was written. Send it again later.'),
    );
  });
}
