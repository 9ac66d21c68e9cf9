/** Issued Observations, as the very texts that were issued: read, version read, history. */
import type { FastifyInstance, FastifyReply } from 'fastify';
import { capabilityStatement } from '../../fhir/capability.ts';
import { observationId } from '../../fhir/observation.ts';
import { operationOutcome } from '../../fhir/outcome.ts';
import type { Parts } from '../parts.ts';
import { FHIR_JSON, sendOutcome } from './errors.ts';

interface OfVersion {
  Params: { id: string; version: string };
}

export function registerFhir(app: FastifyInstance, parts: Parts): void {
  const statement = JSON.stringify(
    capabilityStatement(parts.publicUrl, parts.canonical, new Date(parts.now()).toISOString()),
  );

  app.get('/metadata', (_request, reply) => reply.type(FHIR_JSON).send(statement));

  app.get<{ Params: { id: string } }>('/Observation/:id', (request, reply) => {
    const { id } = request.params;
    return sendVersion(reply, id, versionsOf(parts, id).at(-1));
  });

  app.get<OfVersion>('/Observation/:id/_history/:version', (request, reply) => {
    const { id, version } = request.params;
    return sendVersion(
      reply,
      id,
      versionsOf(parts, id).find((text) => versionOf(text).number === version),
    );
  });

  app.get<{ Params: { id: string } }>('/Observation/:id/_history', (request, reply) => {
    const { id } = request.params;
    const texts = versionsOf(parts, id);
    if (texts.length === 0) return notFound(reply, id);
    return reply.type(FHIR_JSON).send(historyBundle(`${parts.publicUrl}/fhir`, id, texts));
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
  const diagnostics = `No Observation or version '${id}' was issued; ids look like ${example}`;
  return sendOutcome(reply, 404, operationOutcome('not-found', diagnostics));
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
