/** Bulk exports over HTTP (FHIR Bulk Data Access 2.0.0): kick-off, status, files. */
import { createReadStream } from 'node:fs';
import { pipeline } from 'node:stream';
import { createGzip } from 'node:zlib';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { AccessControl } from '../../auth/access-control.ts';
import { isBound, type Principal } from '../../auth/principal.ts';
import { allowsExport } from '../../auth/scope.ts';
import type { ExportView } from '../../export/bulk/exports.ts';
import type { Output } from '../../export/bulk/job.ts';
import { BULK_LEVELS, BULK_TYPES, type BulkLevel } from '../../fhir/bulk.ts';
import { type BulkQuery, readBulk } from '../../fhir/search/read-bulk.ts';
import { Refused } from '../../fhir/search/refused.ts';
import { alsoAcceptJson } from '../body.ts';
import type { Parts } from '../parts.ts';
import { pathOf } from '../refuse.ts';
import { sendPlain } from '../send-json.ts';
import { handlingOf, pairsOf, preferencesOf } from './asked.ts';
import { BULK_DOCS, kickOffDoc } from './bulk-docs.ts';
import { negotiate } from './negotiate.ts';
import { answerRefusals, FHIR_BASE, FHIR_JSON, issueText } from './outcomes.ts';

interface OfExport {
  Params: { job: string; file: string };
}

const RETRY_AFTER_S = 2;

/** Beside the other FHIR routes and not among them: files and manifests are no FHIR resources. */
export function registerBulk(app: FastifyInstance, parts: Parts, { isOpen }: AccessControl): void {
  alsoAcceptJson(app, 'application/fhir+json');
  answerRefusals(app);
  for (const level of BULK_LEVELS) {
    const start = kickOff(parts, level);
    // HEAD would begin an export.
    const of = (byPost: boolean) => ({ config: { doc: kickOffDoc(level, byPost) }, exposeHeadRoute: false });
    app.get(level.path, of(false), start);
    app.post(level.path, of(true), start);
  }
  app.get<OfExport>('/export/:job', { config: { doc: BULK_DOCS.status } }, (request, reply) =>
    sendStatus(parts, isOpen, request, reply),
  );
  app.delete<OfExport>('/export/:job', { config: { doc: BULK_DOCS.remove } }, async (request, reply) => {
    const { job } = request.params;
    if (!(await parts.exports.remove(job, ownerBy(request.principal)))) throw noSuchExport(job);
    return sendNote(reply, 'The export is gone.');
  });
  app.get<OfExport>('/export/:job/:file', { config: { doc: BULK_DOCS.file } }, (request, reply) =>
    sendFile(parts, request, reply),
  );
}

const sendNote = (reply: FastifyReply, words: string): FastifyReply =>
  reply
    .code(202)
    .type(FHIR_JSON)
    .send(issueText('information', 'informational', words));

function kickOff(parts: Parts, { ofPatients }: BulkLevel) {
  return async (request: FastifyRequest, reply: FastifyReply): Promise<FastifyReply> => {
    const pairs = pairsOf(request);
    negotiate(request, pairs);
    if (!/(^|[,;\s])respond-async\b/i.test(preferencesOf(request)))
      throw new Refused(
        400,
        'required',
        'an export is answered later: send the header Prefer: respond-async',
      );
    const { principal } = request;
    if (isBound(principal))
      throw new Refused(
        403,
        'forbidden',
        'The client is confined to one patient or drain: search for what it holds',
      );
    const asked = readBulk(pairs, handlingOf(request) === 'lenient');
    const id = await parts.exports.start({
      client: principal.client,
      request: `${parts.publicUrl()}${request.method === 'GET' ? request.url : pathOf(request)}`,
      types: typesFor(asked, principal),
      ofPatients,
      sinceMs: asked.sinceMs,
      leftOut: asked.leftOut,
    });
    if (id === null) {
      reply.header('retry-after', 60);
      throw new Refused(
        429,
        'throttled',
        'As many exports are kept as may be: DELETE one that is done, or wait',
      );
    }
    reply.header('content-location', statusUrl(parts, id)).header('preference-applied', 'respond-async');
    return sendNote(reply, 'The export is being written: ask where it is at Content-Location.');
  };
}

/** @throws {Refused} 403 for a type that the client may not export */
function typesFor({ types }: BulkQuery, { scope }: Principal): readonly string[] {
  const allowed = BULK_TYPES.map(({ type }) => type).filter((type) => allowsExport(scope, type));
  const none = allowed.length === 0 ? BULK_TYPES[0]?.type : undefined;
  const missing = types === null ? none : types.find((type) => !allowed.includes(type));
  if (missing !== undefined) throw notAllowed(missing);
  return types ?? allowed;
}

const notAllowed = (type: string): Refused =>
  new Refused(403, 'forbidden', `The client may not export ${type}: it needs the scope system/${type}.rs`);

const statusUrl = ({ publicUrl }: Parts, id: string): string => `${publicUrl()}${FHIR_BASE}/export/${id}`;

/** Whose exports a client sees: one that is confined began none, though another of its name may have. */
const ownerBy = (principal: Principal): string => (isBound(principal) ? '' : principal.client);

const noSuchExport = (id: string): Refused =>
  new Refused(404, 'not-found', `There is no export '${id}' of this client, or no longer: ask for a new one`);

function sendStatus(
  parts: Parts,
  isOpen: boolean,
  { params: { job: id }, principal }: FastifyRequest<OfExport>,
  reply: FastifyReply,
): FastifyReply {
  const found = parts.exports.find(id, ownerBy(principal));
  if (found === undefined) throw noSuchExport(id);
  const { state } = found.job;
  if (state.is === 'waiting') {
    reply
      .header('x-progress', `${Math.floor(found.part * 100)} % written`)
      .header('retry-after', RETRY_AFTER_S);
    return sendNote(reply, 'The export is being written.');
  }
  reply.header('expires', new Date(found.expiresMs ?? 0).toUTCString());
  if (state.is === 'failed')
    throw new Refused(500, 'exception', `The export failed (${state.why}): DELETE it and ask for a new one`);
  return sendPlain(reply, manifest(found, state.outputs, statusUrl(parts, id), isOpen));
}

function manifest({ job }: ExportView, outputs: readonly Output[], url: string, isOpen: boolean): object {
  const items = (isError: boolean) =>
    outputs
      .filter(({ type }) => (type === 'OperationOutcome') === isError)
      .map(({ type, name, count }) => ({ type, url: `${url}/${name}`, count }));
  return {
    transactionTime: new Date(job.until_ms).toISOString(),
    request: job.request,
    requiresAccessToken: !isOpen,
    output: items(false),
    error: items(true),
  };
}

function sendFile({ exports }: Parts, request: FastifyRequest<OfExport>, reply: FastifyReply): FastifyReply {
  const { params, principal, headers } = request;
  const { job, file: name } = params;
  const file = exports.file(job, ownerBy(principal), name);
  if (file === undefined) throw new Refused(404, 'not-found', `There is no file '${name}' of such an export`);
  if (file.type !== 'OperationOutcome' && !allowsExport(principal.scope, file.type))
    throw notAllowed(file.type);
  request.shown = file.drains;
  reply.type('application/fhir+ndjson').header('vary', 'accept-encoding');
  const stream = createReadStream(file.path);
  if (!takesGzip(headers['accept-encoding'])) return reply.send(stream);
  // Whichever of the two ends early ends the other: a client that hangs up leaves no file open.
  return reply.header('content-encoding', 'gzip').send(pipeline(stream, createGzip(), () => {}));
}

/** RFC 9110, 12.5.3. */
function takesGzip(accepted: string | readonly string[] | undefined): boolean {
  return String(accepted ?? '')
    .split(',')
    .map((each) => each.trim().toLowerCase())
    .some((each) => /^(gzip|x-gzip|\*)\s*(;|$)/.test(each) && !/;\s*q=0(\.0*)?$/.test(each));
}
