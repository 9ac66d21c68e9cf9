import Fastify, { type FastifyInstance, type FastifyReply, type FastifyRequest } from 'fastify';
import { etagOf, locationOf, runBundle } from './bundle.ts';
import { capabilityStatement } from './capability.ts';
import { historyText, searchText } from './listing.ts';
import { outcomeOf, refusal, statusOf } from './refusal.ts';
import { historyOf, keepTogether, openStore, type Store, type Version } from './store.ts';
import { createResource, requireKnownType, updateResource, type Written } from './writes.ts';

interface TypePath {
  readonly type: string;
}

interface ResourcePath extends TypePath {
  readonly id: string;
}

interface VersionPath extends ResourcePath {
  readonly vid: string;
}

const largestBody = 16 * 1024 * 1024;

function baseOf(request: FastifyRequest): string {
  return `${request.protocol}://${request.host}/fhir`;
}

function send(reply: FastifyReply, status: number, text: string): FastifyReply {
  return reply.code(status).type('application/fhir+json; charset=utf-8').send(text);
}

function sendFailure(error: unknown, reply: FastifyReply): FastifyReply {
  return send(reply, statusOf(error), JSON.stringify(outcomeOf(error)));
}

function sendVersion(reply: FastifyReply, status: number, version: Version): FastifyReply {
  reply.header('etag', etagOf(version)).header('last-modified', new Date(version.at).toUTCString());
  return send(reply, status, version.text);
}

function sendWritten(request: FastifyRequest, reply: FastifyReply, written: Written): FastifyReply {
  reply.header('location', `${baseOf(request)}/${locationOf(written.version)}`);
  return sendVersion(reply, written.status, written.version);
}

function header(request: FastifyRequest, name: 'if-match' | 'if-none-exist'): string | undefined {
  const value = request.headers[name];
  return Array.isArray(value) ? value.join(', ') : value;
}

function storedVersion(store: Store, { type, id }: ResourcePath, vid?: string): Version {
  requireKnownType(type);
  const history = historyOf(store, type, id);
  const found = vid === undefined ? history.at(-1) : history.find(({ version }) => String(version) === vid);
  if (found !== undefined) return found;
  const sought = vid === undefined ? `${type}/${id}` : `Version "${vid}" of ${type}/${id}`;
  throw refusal(404, `${sought} is not stored; read what was written before, or write it first.`);
}

function addReads(fhir: FastifyInstance, store: Store): void {
  fhir.get('/metadata', (request, reply) =>
    send(reply, 200, JSON.stringify(capabilityStatement(baseOf(request)))),
  );
  fhir.get<{ Params: TypePath }>('/:type', (request, reply) =>
    send(reply, 200, searchText(store, baseOf(request), request.params.type, request.query)),
  );
  fhir.get<{ Params: ResourcePath }>('/:type/:id', (request, reply) =>
    sendVersion(reply, 200, storedVersion(store, request.params)),
  );
  fhir.get<{ Params: ResourcePath }>('/:type/:id/_history', (request, reply) => {
    const { type, id } = storedVersion(store, request.params);
    return send(reply, 200, historyText(store, baseOf(request), type, id));
  });
  fhir.get<{ Params: VersionPath }>('/:type/:id/_history/:vid', (request, reply) =>
    sendVersion(reply, 200, storedVersion(store, request.params, request.params.vid)),
  );
}

function addWrites(fhir: FastifyInstance, store: Store): void {
  fhir.post('/', (request, reply) =>
    send(reply, 200, JSON.stringify(runBundle(store, String(request.body)))),
  );
  fhir.post<{ Params: TypePath }>('/:type', (request, reply) => {
    const { type } = request.params;
    const condition = header(request, 'if-none-exist');
    const written = keepTogether(store, (add) =>
      createResource({ store, add }, type, String(request.body), condition),
    );
    return sendWritten(request, reply, written);
  });
  fhir.put<{ Params: ResourcePath }>('/:type/:id', (request, reply) => {
    const { type, id } = request.params;
    const condition = header(request, 'if-match');
    const written = keepTogether(store, (add) =>
      updateResource({ store, add }, type, id, String(request.body), condition),
    );
    return sendWritten(request, reply, written);
  });
}

function receivedSoFar(store: Store, requests: number): object {
  const histories = [...store.types.values()].flatMap((ids) => [...ids.values()]);
  return {
    requests,
    resources: Object.fromEntries([...store.types].map(([type, ids]) => [type, ids.size])),
    versions: Object.fromEntries(
      histories
        .flatMap((history) => history.slice(-1))
        .map((last) => [`${last.type}/${last.id}`, last.version]),
    ),
  };
}

/**
 * Builds a small FHIR R4 server that takes the part of the record system: it keeps the exact text of what
 * it is sent, in every version, and gives it back unchanged. Because of that the server's id of a created
 * resource and its version number stand in the headers only. Versions and resources outlive a restart if
 * there is a log file; the count of requests starts again.
 *
 * @param options `logFile`, if given, is loaded now and grows by a line with every accepted write
 * @returns the server, built and not listening
 */
export function createEhrStandIn(options: { readonly logFile?: string }): FastifyInstance {
  const store = openStore(options.logFile);
  let requests = 0;
  const app = Fastify({
    bodyLimit: largestBody,
    frameworkErrors: (error, _request, reply) => void sendFailure(error, reply),
  });
  app.removeAllContentTypeParsers();
  // Handed on as text: parsing would lose how the decimals were written.
  app.addContentTypeParser(
    ['application/fhir+json', 'application/json'],
    { parseAs: 'string' },
    (_request, body, done) => done(null, body),
  );
  app.addHook('onRequest', async (request) => {
    if (request.url.startsWith('/fhir')) requests += 1;
  });
  app.setErrorHandler((error, _request, reply) => sendFailure(error, reply));
  app.setNotFoundHandler((request, reply) =>
    sendFailure(refusal(404, `${request.method} ${request.url} is no route; see /fhir/metadata.`), reply),
  );
  app.get('/_received', () => receivedSoFar(store, requests));
  app.register(
    async (fhir) => {
      addReads(fhir, store);
      addWrites(fhir, store);
    },
    { prefix: '/fhir' },
  );
  return app;
}
