/** Entries of a batch, each answered as the request that it stands for: by the same routes, with nothing between. */
import { STATUS_CODES } from 'node:http';
import type { FastifyRequest, LightMyRequestResponse } from 'fastify';
import type { ExactValue } from '../../json/exact-json.ts';
import { writeExact } from '../../json/exact-write.ts';
import { preferredReturn } from './asked.ts';
import type { EntryAnswer } from './bundle-answer.ts';
import type { BundleEntry } from './bundle-shape.ts';
import { FHIR_BASE, FHIR_JSON, issueText } from './outcomes.ts';

const METHODS = ['GET', 'POST'] as const;
/** A type, what follows it, and a query; no step up and no other host. */
const INNER_URL = /^(?:metadata|[A-Z][A-Za-z]{0,60}(?:\/[A-Za-z0-9$_.-]{1,128}){0,3})(?:\?[^#\s]*)?$/;

export async function answerBatch(
  request: FastifyRequest,
  entries: readonly BundleEntry[],
): Promise<readonly EntryAnswer[]> {
  const answers: EntryAnswer[] = [];
  const answer = async (entry: BundleEntry, n: number): Promise<void> => {
    answers[n] = await answerEntry(request, entry);
  };
  const isWrite = ({ request: { method } }: BundleEntry): boolean => method === 'POST';
  // Writes go first, and share their commits; reads then see them (http.html#trules).
  await Promise.all(entries.map((each, n) => (isWrite(each) ? answer(each, n) : undefined)));
  let shown = 0;
  for (const [n, each] of entries.entries()) {
    if (isWrite(each)) continue;
    if (shown > MOST_SHOWN) answers[n] = told(413, TOO_MUCH);
    else await answer(each, n);
    shown += answers[n]?.resource?.length ?? 0;
  }
  return answers;
}

/** Characters of what reads of one batch are answered with. All of it is held at once, and 500 pages of 1,000 are 1 GB. */
const MOST_SHOWN = 32 * 1024 * 1024;
const TOO_MUCH = issueText(
  'error',
  'too-costly',
  `the answers before this one hold over ${MOST_SHOWN} characters: ask for it in another batch, or by itself`,
);

async function answerEntry(outer: FastifyRequest, entry: BundleEntry): Promise<EntryAnswer> {
  const { url, ...asked } = entry.request;
  const method = METHODS.find((each) => each === asked.method);
  if (method === undefined || !INNER_URL.test(url) || url.includes('..')) {
    const words = `request ${asked.method.slice(0, 20)} ${url.slice(0, 80).toWellFormed()} is not done in a batch: send GET or POST and a URL below the base, such as Observation`;
    return told(400, issueText('error', 'not-supported', words));
  }
  const isWrite = method === 'POST' && entry.resource !== undefined;
  const response = await outer.server.inject({
    method,
    url: `${FHIR_BASE}/${url}`,
    headers: headersOf(outer, asked, isWrite),
    remoteAddress: outer.ip,
    ...(isWrite ? { payload: writeExact(entry.resource as ExactValue) } : {}),
  });
  return answerOf(response, method === 'GET' || preferredReturn(outer) === 'representation');
}

function headersOf(
  outer: FastifyRequest,
  { ifNoneExist, ifNoneMatch, ifModifiedSince }: Omit<BundleEntry['request'], 'url' | 'method'>,
  isWrite: boolean,
): Record<string, string> {
  const { authorization, 'x-request-id': requestId } = outer.headers;
  return {
    accept: FHIR_JSON,
    ...(authorization === undefined ? {} : { authorization }),
    ...(typeof requestId === 'string' ? { 'x-request-id': requestId } : {}),
    ...(isWrite ? { 'content-type': FHIR_JSON } : {}),
    ...(ifNoneExist === undefined ? {} : { 'if-none-exist': ifNoneExist }),
    ...(ifNoneMatch === undefined ? {} : { 'if-none-match': ifNoneMatch }),
    ...(ifModifiedSince === undefined
      ? {}
      : { 'if-modified-since': new Date(ifModifiedSince).toUTCString() }),
  };
}

function answerOf({ statusCode, headers, payload }: LightMyRequestResponse, shows: boolean): EntryAnswer {
  // An answer below the FHIR base that is no resource asked for is an OperationOutcome, whoever gives it.
  if (statusCode >= 400 || statusCode === 202) return told(statusCode, payload);
  const { location, etag, 'last-modified': modified } = headers;
  return {
    resource: shows && payload !== '' ? payload : null,
    response: {
      status: statusText(statusCode),
      ...(typeof location === 'string' ? { location } : {}),
      ...(typeof etag === 'string' ? { etag } : {}),
      ...(typeof modified === 'string' ? { lastModified: new Date(modified).toISOString() } : {}),
    },
    outcome: null,
  };
}

const told = (status: number, outcome: string): EntryAnswer => ({
  resource: null,
  response: { status: statusText(status) },
  outcome,
});

const statusText = (status: number): string => `${status} ${STATUS_CODES[status] ?? ''}`.trim();
