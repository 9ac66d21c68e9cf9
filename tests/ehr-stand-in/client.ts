import type { FastifyInstance } from 'fastify';
import { createEhrStandIn } from '../../src/ehr-stand-in/server.ts';

/** A stand-in that listens on the loopback interface, and its addresses. */
export interface RunningStandIn {
  readonly app: FastifyInstance;
  readonly origin: string;
  readonly fhir: string;
}

/** What a test looks at in an answer. */
interface Answer {
  readonly status: number;
  readonly headers: Headers;
  readonly text: string;
}

/** Starts a stand-in on a free port of the loopback interface. */
export async function startStandIn(logFile?: string): Promise<RunningStandIn> {
  const app = createEhrStandIn(logFile === undefined ? {} : { logFile });
  const origin = await app.listen({ host: '127.0.0.1', port: 0 });
  return { app, origin, fhir: `${origin}/fhir` };
}

/** Sends a body as FHIR JSON and reads the whole answer. */
export async function sendTo(
  method: 'POST' | 'PUT',
  url: string,
  body: string,
  headers: Readonly<Record<string, string>> = {},
): Promise<Answer> {
  const response = await fetch(url, {
    method,
    body,
    headers: { 'content-type': 'application/fhir+json', ...headers },
  });
  return { status: response.status, headers: response.headers, text: await response.text() };
}

/** Reads an address. */
export async function readFrom(url: string): Promise<Answer> {
  const response = await fetch(url);
  return { status: response.status, headers: response.headers, text: await response.text() };
}

/** The text of an invented Observation, written with decimals that a parser would shorten. */
export function observationText(id: string | undefined, value = '1.50', more = ''): string {
  const named = id === undefined ? '' : `"id":"${id}", `;
  return (
    `{ "resourceType":"Observation", ${named}${more}"status":"final", "code":{"text":"für \\"}\\" Grün 🫁"},\n` +
    `  "valueQuantity":{"value":${value},"unit":"L"} }`
  );
}
