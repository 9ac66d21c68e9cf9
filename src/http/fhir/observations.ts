/** Issued Observations, as the very texts that were issued: read, version read, history. */
import type { FastifyInstance, FastifyReply } from 'fastify';
import { z } from 'zod';
import { capabilityStatement } from '../../fhir/capability.ts';
import { observationId } from '../../fhir/observation.ts';
import type { Parts } from '../parts.ts';
import { problem } from '../problem.ts';
import type { AnswerDoc, RouteDoc } from '../route-doc.ts';
import { FHIR_BASE, FHIR_JSON, sendOutcome } from './outcomes.ts';

const fhir = (text: string, resourceType: string): AnswerDoc => ({
  text,
  mediaType: 'application/fhir+json',
  schema: z
    .looseObject({ resourceType: z.literal(resourceType) })
    .meta({ id: resourceType, description: `FHIR R4 (4.0.1) ${resourceType}.` }),
});

const query = {
  _format: z
    .enum(['json', 'application/json', 'application/fhir+json'])
    .meta({ description: 'JSON is the only format.' }),
};
const refusals = (text404?: string) => ({
  ...(text404 === undefined ? {} : { 404: fhir(text404, 'OperationOutcome') }),
  default: fhir('Any other error.', 'OperationOutcome'),
});
const VERSIONED = 'Decimals keep the digits they were charted with. ETag names the version.';

const DOCS = {
  metadata: {
    operation: 'capabilities',
    summary: 'What can be done with FHIR here',
    query,
    answers: { 200: fhir('The CapabilityStatement.', 'CapabilityStatement'), ...refusals() },
  },
  read: {
    operation: 'readObservation',
    summary: 'The newest version of an Observation',
    about: VERSIONED,
    query,
    answers: { 200: fhir('The Observation.', 'Observation'), ...refusals('It was never issued.') },
  },
  version: {
    operation: 'readObservationVersion',
    summary: 'One version of an Observation, as the text that was issued',
    about: VERSIONED,
    query,
    answers: { 200: fhir('The version.', 'Observation'), ...refusals('It was never issued.') },
  },
  history: {
    operation: 'observationHistory',
    summary: 'All versions of an Observation, newest first',
    query,
    answers: { 200: fhir('A Bundle of type history.', 'Bundle'), ...refusals('It was never issued.') },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

interface OfId {
  Params: { id: string };
}
interface OfVersion {
  Params: { id: string; version: string };
}

export function registerFhir(app: FastifyInstance, parts: Parts): void {
  const started = new Date(parts.now()).toISOString();

  app.get('/metadata', { config: { doc: DOCS.metadata } }, (_request, reply) =>
    reply
      .type(FHIR_JSON)
      .send(JSON.stringify(capabilityStatement(parts.publicUrl(), parts.canonical, started))),
  );

  app.get<OfId>('/Observation/:id', { config: { doc: DOCS.read } }, (request, reply) => {
    const { id } = request.params;
    return sendVersion(reply, id, versionsOf(parts, id).at(-1));
  });

  app.get<OfVersion>(
    '/Observation/:id/_history/:version',
    { config: { doc: DOCS.version } },
    (request, reply) => {
      const { id, version } = request.params;
      const versions = versionsOf(parts, id);
      return sendVersion(
        reply,
        id,
        versions.find((text) => versionOf(text).number === version),
      );
    },
  );

  app.get<OfId>('/Observation/:id/_history', { config: { doc: DOCS.history } }, (request, reply) => {
    const { id } = request.params;
    const texts = versionsOf(parts, id);
    if (texts.length === 0) return notFound(reply, id);
    return reply.type(FHIR_JSON).send(historyBundle(`${parts.publicUrl()}${FHIR_BASE}`, id, texts));
  });
}

function versionsOf({ store }: Parts, id: string): readonly string[] {
  const [name, drain, anchor, ...rest] = id.split('.');
  if (name === undefined || drain === undefined || anchor === undefined || rest.length > 0) return [];
  return store.versions(drain, `${name}.${anchor}`, id);
}

function sendVersion(reply: FastifyReply, id: string, text: string | undefined): FastifyReply {
  if (text === undefined) return notFound(reply, id);
  const { number, lastUpdated } = versionOf(text);
  return reply
    .type(FHIR_JSON)
    .header('etag', `W/"${number}"`)
    .header('last-modified', new Date(lastUpdated).toUTCString())
    .send(text);
}

function notFound(reply: FastifyReply, id: string): FastifyReply {
  const example = observationId('drain', { name: 'net-drainage', anchor: 'entry' });
  const detail = `No Observation or version '${id}' was issued; ids look like ${example}`;
  return sendOutcome(reply, problem(404, 'not-issued', 'It was never issued', detail));
}

/** Version and time stand in `meta`, which our own writer puts right after the id. */
function versionOf(text: string): { readonly number: string; readonly lastUpdated: string } {
  const meta =
    /^\{"resourceType":"Observation","id":"[^"]+","meta":\{"versionId":"(\d+)","lastUpdated":"([^"]+)"\}/.exec(
      text,
    );
  const [, number, lastUpdated] = meta ?? [];
  if (number === undefined || lastUpdated === undefined)
    throw new Error('an issued text does not start as ours do');
  return { number, lastUpdated };
}

/** Newest first, as the standard says; texts go in unparsed, digits and all. */
function historyBundle(base: string, id: string, texts: readonly string[]): string {
  const entries = texts.toReversed().map((text) => {
    const { number, lastUpdated } = versionOf(text);
    const request = { method: 'PUT', url: `Observation/${id}` };
    const response = {
      status: number === '1' ? '201' : '200',
      etag: `W/"${number}"`,
      lastModified: lastUpdated,
    };
    return `{"fullUrl":"${base}/Observation/${id}","resource":${text},"request":${JSON.stringify(request)},"response":${JSON.stringify(response)}}`;
  });
  return `{"resourceType":"Bundle","type":"history","total":${texts.length},"link":[{"relation":"self","url":"${base}/Observation/${id}/_history"}],"entry":[${entries.join(',')}]}`;
}
