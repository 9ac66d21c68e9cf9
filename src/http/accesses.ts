/**
 * Which answers are accesses, and what is kept of each. Every answer of a route that shows or takes what concerns
 * patients is one, and every refusal of access control, whatever it was about. It is recorded before the answer leaves;
 * a write that was recorded is known by its own entry.
 */
import { Readable } from 'node:stream';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { Access, Interaction } from '../audit/access.ts';
import type { Caller } from '../auth/principal.ts';
import { isSamePatient } from '../domain/fold/drain.ts';
import type { Reference } from '../domain/vocabulary/entry.ts';
import type { ExactValue } from '../json/exact-json.ts';
import { writeExact } from '../json/exact-write.ts';
import { requestIdOf, senderOf } from './caller.ts';
import { type Failure, logFailure, problemOf } from './failures.ts';
import { FHIR_BASE } from './fhir/outcomes.ts';
import { drainNamedBy } from './named-drain.ts';
import type { Parts } from './parts.ts';
import { refusalText } from './refuse.ts';

declare module 'fastify' {
  interface FastifyRequest {
    /** Drains that the answer is about, where the path does not say. */
    shown: Iterable<string> | null;
    /** Patients whom it asks for, whether or not anything is found, or whom what it shows names beside those of drains. */
    named: readonly Reference[] | null;
    /** What was sent is in the ledger: its entry says who sent it. */
    isRecorded: boolean;
  }
}

export function recordAccesses(app: FastifyInstance, parts: Pick<Parts, 'store' | 'accesses'>): void {
  app.decorateRequest('shown', null);
  app.decorateRequest('named', null);
  app.decorateRequest('isRecorded', false);
  app.addHook('onSend', async (request, reply, payload) => {
    if (!isAccess(request, reply.statusCode)) return payload;
    try {
      await parts.accesses.note(accessesOf(request, reply.statusCode, parts));
      return payload;
    } catch (error) {
      // What cannot be recorded is not shown.
      if (payload instanceof Readable) payload.destroy();
      return unanswered(request, reply, error as Failure);
    }
  });
}

function unanswered(request: FastifyRequest, reply: FastifyReply, error: Failure): string {
  for (const name of ['etag', 'last-modified', 'location', 'content-length']) reply.removeHeader(name);
  const problem = problemOf(error, request);
  if (problem.status === 500) logFailure(request.log, error);
  const { type, text } = refusalText(request, problem);
  reply.code(problem.status).type(type).header('retry-after', 1);
  return text;
}

/** What could not be read as a request shows nothing, nor does being told to wait. That there is no such drain is an answer. */
const SHOWS_NOTHING = [400, 406, 413, 414, 415, 428, 429];

function isAccess({ routeOptions, is404, isRecorded }: FastifyRequest, status: number): boolean {
  const { doc } = routeOptions.config;
  if (is404 || doc === undefined || doc.access === 'public' || isRecorded || status >= 500) return false;
  if (status === 401 || status === 403) return true;
  return doc.concernsNobody !== true && !SHOWS_NOTHING.includes(status);
}

/** One for each patient that the answer is about; one that is about none, where it is about nobody. */
export function accessesOf(
  request: FastifyRequest,
  status: number,
  parts: Pick<Parts, 'store'>,
): readonly Access[] {
  const { routeOptions, principal, named } = request;
  const drains = [...(request.shown ?? [drainNamedBy(request) ?? []].flat())];
  const said = {
    interaction: interactionOf(request),
    operation: routeOptions.config.doc?.operation ?? '',
    status,
  };
  if (principal !== undefined)
    return ofEach(
      { ...senderOf(principal), ...said, request: requestText(request) },
      drains,
      named ?? [],
      parts,
    );
  // Whoever is not known cannot fill the ledger with what they make up.
  const real = drains.filter((drain) => parts.store.durablePatientOf(drain) !== null);
  return ofEach({ ...nobody(request), ...said, request: routeText(request) }, real, [], parts);
}

function ofEach(
  access: Omit<Access, 'patient' | 'drains'>,
  drains: Iterable<string>,
  named: readonly Reference[],
  { store }: Pick<Parts, 'store'>,
): readonly Access[] {
  const patients = new Map<string, Pick<Access, 'patient' | 'drains'>>();
  for (const drain of [...new Set(drains)].sort()) {
    const patient = store.durablePatientOf(drain);
    const key = patient === null ? drain : JSON.stringify(patient);
    patients.set(key, { patient, drains: [...(patients.get(key)?.drains ?? []), drain] });
  }
  const found = [...patients.values()].flatMap(({ patient }) => patient ?? []);
  for (const patient of named) {
    if (!found.some((each) => isSamePatient(each, patient)))
      patients.set(JSON.stringify(patient), { patient, drains: [] });
  }
  const about = patients.size === 0 ? [{ patient: null, drains: [] }] : [...patients.values()];
  return about.map((each) => ({ ...access, ...each }));
}

const nobody = (request: FastifyRequest) => ({
  client: null,
  subject: null,
  credential: null,
  address: request.ip,
  request_id: requestIdOf(request),
});

const MOST_TEXT = 16_384;

function requestText({ method, url, body, routeOptions }: FastifyRequest): string {
  const asked = `${method} ${url}`;
  const isForm = /\/(_search|\$[a-z]+)$/.test(routeOptions.url ?? '') && body !== undefined && body !== null;
  const form = !isForm
    ? ''
    : body instanceof URLSearchParams
      ? `\n${body}`
      : `\n${writeExact(body as ExactValue)}`;
  return (asked + form).slice(0, MOST_TEXT).toWellFormed();
}

const routeText = ({ method, routeOptions }: FastifyRequest): string => `${method} ${routeOptions.url}`;

/** As FHIR R4 restful-interaction names it; of the native API, what it comes to. */
function interactionOf({ method, routeOptions, url, params, body }: FastifyRequest): Interaction {
  const path = routeOptions.url ?? '';
  const [isRead, isOfOne] = [method === 'GET' || method === 'HEAD', Object.keys(params as object).length > 0];
  if (path.endsWith('/_history')) return isOfOne ? 'history-instance' : 'history-type';
  if (path.endsWith('/_search')) return 'search-type';
  if (path.includes('/$') || url.includes('dry-run=true')) return 'operation';
  if (isRead) return path.endsWith('/:version') ? 'vread' : isOfOne ? 'read' : 'search-type';
  if (method === 'PUT') return 'update';
  const isTransaction =
    path.startsWith(FHIR_BASE) && (body as { type?: unknown } | null)?.type === 'transaction';
  return isTransaction ? 'transaction' : (WRITES[path] ?? 'operation');
}

const WRITES: Readonly<Record<string, Interaction>> = {
  '/v1/drains': 'create',
  '/v1/drains/:drain/entries': 'create',
  '/v1/devices': 'create',
  '/v1/devices/:device/assignments': 'create',
  '/v1/devices/:device/entries': 'create',
  '/v1/device-entries': 'create',
  [`${FHIR_BASE}/Observation`]: 'create',
  [`${FHIR_BASE}/Device`]: 'create',
  [`${FHIR_BASE}/DeviceUseStatement`]: 'create',
  '/v1/hl7v2': 'create',
  '/v1/entries': 'batch',
  '/v1/entries/lines': 'batch',
  [FHIR_BASE]: 'batch',
  [`${FHIR_BASE}/`]: 'batch',
};

/** Of an item that was refused inside a batch, or of a message that came by another way than HTTP. */
export const refusedItem = (
  caller: Caller,
  drains: readonly string[],
  parts: Pick<Parts, 'store'>,
  request = 'an item of a batch',
) =>
  ofEach(
    {
      ...senderOf(caller),
      interaction: 'create',
      operation: 'enter',
      request,
      status: 403,
    },
    drains,
    [],
    parts,
  );
