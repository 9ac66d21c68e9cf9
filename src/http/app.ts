/** Builds the HTTP side and never listens. */
import type { Server } from 'node:http';
import Fastify, {
  type FastifyBaseLogger,
  type FastifyHttpOptions,
  type FastifyInstance,
  LogController,
} from 'fastify';
import type { AccessControl } from '../auth/access-control.ts';
import { PicturesBusy } from '../plots/pictures.ts';
import { SearchUnavailable } from '../search/port.ts';
import { StoreBusy } from '../store/port.ts';
import { recordAccesses } from './accesses.ts';
import { registerAudit } from './audit.ts';
import { acceptJson } from './body.ts';
import { answerBrokenHttp } from './broken-http.ts';
import { tellOfErasures } from './erased.ts';
import { logFailure, problemOf } from './failures.ts';
import { registerBulk } from './fhir/bulk.ts';
import { FHIR_BASE } from './fhir/outcomes.ts';
import { registerFhir } from './fhir/routes.ts';
import { gate } from './gate.ts';
import { endKeepAliveOnClose } from './graceful-close.ts';
import { guard } from './guard.ts';
import { answerOnlyAsLoopback } from './hosts.ts';
import { type Limits, limitRates } from './limits.ts';
import { registerMetrics } from './metrics.ts';
import { registerAdvisories } from './native/advisories.ts';
import { registerCalendar } from './native/calendar-reads.ts';
import { registerConfiguration } from './native/configuration-reads.ts';
import { registerDeliveries } from './native/deliveries.ts';
import { registerDeviceReads } from './native/device-reads.ts';
import { registerDevices } from './native/devices.ts';
import { registerEntries } from './native/entries.ts';
import { registerExport } from './native/export-reads.ts';
import { registerHl7v2 } from './native/hl7v2.ts';
import { registerLines } from './native/lines.ts';
import { registerLive } from './native/live-reads.ts';
import { registerOverview } from './native/overview-reads.ts';
import { registerPlots } from './native/plot-reads.ts';
import { registerReads } from './native/reads.ts';
import { registerRemoval } from './native/removal-reads.ts';
import { registerTargets } from './native/targets.ts';
import { registerTrends } from './native/trends-reads.ts';
import { refuseOddHosts } from './one-host.ts';
import { registerOps } from './ops.ts';
import { registerPage } from './page.ts';
import type { Parts } from './parts.ts';
import { registerReference } from './reference.ts';
import { refuse } from './refuse.ts';
import { collectRoutes } from './routes.ts';
import { cutSlowRequests } from './slow-requests.ts';

export interface AppOptions {
  readonly parts: Parts;
  readonly logger: FastifyBaseLogger;
  readonly access: AccessControl;
  /** Null: nobody is measured. */
  readonly limits: Limits | null;
  /** Addresses of proxies whose X-Forwarded-For is believed. */
  readonly proxies: readonly string[];
}

const BODY_BYTES = 256 * 1024;

export function buildApp({ parts, logger, access, limits, proxies }: AppOptions): FastifyInstance {
  const app = Fastify<Server>(optionsOf(logger, proxies));
  const routes = collectRoutes(app);
  endKeepAliveOnClose(app);
  cutSlowRequests(app);
  logAnswers(app, logger);
  harden(app, parts);
  refuseOddHosts(app);
  if (access.isOpen) answerOnlyAsLoopback(app, parts);
  acceptJson(app, 'application/json');
  guard(app, routes);
  recordAccesses(app, parts);
  gate(app, { access, store: parts.store, limiter: limitRates(app, limits) });
  tellOfErasures(app, parts);
  answerErrors(app);
  registerOps(app, parts);
  registerMetrics(app, parts);
  registerReference(app, routes);
  registerPage(app);
  app.register(async (native) => registerNative(native, parts), { prefix: '/v1' });
  app.register(async (audit) => registerAudit(audit, parts), { prefix: '/audit' });
  app.register(async (fhir) => registerFhir(fhir, parts, access), { prefix: FHIR_BASE });
  app.register(async (bulk) => registerBulk(bulk, parts, access), { prefix: FHIR_BASE });
  return app;
}

function registerNative(native: FastifyInstance, parts: Parts): void {
  registerReads(native, parts);
  registerCalendar(native, parts);
  registerRemoval(native, parts);
  registerTrends(native, parts);
  registerExport(native, parts);
  registerOverview(native, parts);
  registerLive(native, parts);
  registerPlots(native, parts);
  registerAdvisories(native, parts);
  registerConfiguration(native, parts);
  registerEntries(native, parts);
  registerLines(native, parts);
  registerHl7v2(native, parts);
  registerDevices(native, parts);
  registerDeviceReads(native, parts);
  registerDeliveries(native, parts);
  registerTargets(native, parts);
}

const optionsOf = (
  logger: FastifyBaseLogger,
  proxies: AppOptions['proxies'],
): FastifyHttpOptions<Server> => ({
  loggerInstance: quiet(logger),
  logController: new LogController({ disableRequestLogging: true }),
  bodyLimit: BODY_BYTES,
  // Of a whole request; that of its body is watched by slow-requests.ts, as some bodies may go on.
  requestTimeout: 0,
  connectionTimeout: 30_000,
  http: { connectionsCheckingInterval: 1000, requireHostHeader: false },
  keepAliveTimeout: 75_000,
  routerOptions: { maxParamLength: 128 },
  trustProxy: proxies.length === 0 ? false : [...proxies],
  return503OnClosing: false,
  frameworkErrors: (error, request, reply) => refuse(request, reply, problemOf(error, request)),
  clientErrorHandler: answerBrokenHttp,
});

/** The framework's own lines only where something is wrong: some would quote the URL, which could name a patient. */
function quiet(logger: FastifyBaseLogger): FastifyBaseLogger {
  const level = ['trace', 'debug', 'info'].includes(logger.level) ? 'warn' : logger.level;
  return logger.child({}, { level });
}

/** One line an answer, with the route's pattern in place of the URL. */
function logAnswers(app: FastifyInstance, logger: FastifyBaseLogger): void {
  app.addHook('onResponse', (request, reply, done) => {
    const route = request.routeOptions.url ?? 'unknown';
    const ms = Math.round(reply.elapsedTime);
    logger.info({ id: request.id, method: request.method, route, status: reply.statusCode, ms }, 'answered');
    done();
  });
}

/**
 * What is shown is kept by no cache, and is nothing that a browser could run, frame, or take for another type. No
 * other site is let in: without headers of CORS a browser keeps answers from it.
 */
const HEADERS = {
  'cache-control': 'no-store',
  'content-security-policy': "default-src 'none'; frame-ancestors 'none'",
  'referrer-policy': 'no-referrer',
  'x-content-type-options': 'nosniff',
  'x-frame-options': 'DENY',
};
const BY_TLS_ONLY = { 'strict-transport-security': 'max-age=31536000' };

function harden(app: FastifyInstance, { publicUrl }: Parts): void {
  app.addHook('onRequest', (_request, reply, done) => {
    reply.headers(publicUrl().startsWith('https:') ? { ...HEADERS, ...BY_TLS_ONLY } : HEADERS);
    done();
  });
}

function answerErrors(app: FastifyInstance): void {
  app.setErrorHandler((error: Parameters<typeof problemOf>[0], request, reply) => {
    const problem = problemOf(error, request);
    if (error instanceof StoreBusy || error instanceof SearchUnavailable || error instanceof PicturesBusy)
      reply.header('retry-after', error.retryAfterS);
    else if (problem.status >= 500) logFailure(request.log, error);
    return refuse(request, reply, problem);
  });
}
