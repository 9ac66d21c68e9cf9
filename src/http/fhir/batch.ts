/** Entries of a batch, each answered as the request that it stands for: by the same routes, with nothing between. */
import { STATUS_CODES } from 'node:http';
import type { FastifyRequest, LightMyRequestResponse } from 'fastify';
import type { ExactValue } from '../../json/exact-json.ts';
import { writeExact } from '../../json/exact-write.ts';
import { preferredReturn } from './asked.ts';
import type { EntryAnswer } from './bundle-answer.ts';
import type { BundleEntry } from './bundle-shape.ts';
import { FHIR_BASE, FHIR_JSON, issueText } from './outcomes.ts';

const METHODS = ['GET', 'POST', 'PUT'] as const;
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
  // What is created goes first, what is updated next, and each share their commits; reads then see them (http.html#trules).
  for (const writes of [isCreate, isUpdate])
    await Promise.all(entries.map((each, n) => (writes(each) ? answer(each, n) : undefined)));
  let shown = 0;
  for (const [n, each] of entries.entries()) {
    if (isCreate(each) || isUpdate(each)) continue;
    if (shown > MOST_SHOWN) answers[n] = told(413, TOO_MUCH);
    else await answer(each, n);
    shown += answers[n]?.resource?.length ?? 0;
  }
  return answers;
}

/** At a type itself: what is posted below one is a search or an operation, which read. */
const isCreate = ({ request: { method, url } }: BundleEntry): boolean =>
  method === 'POST' && /^[A-Za-z]+$/.test(url);
const isUpdate = ({ request: { method } }: BundleEntry): boolean => method === 'PUT';

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
    const words = `request ${asked.method.slice(0, 20)} ${url.slice(0, 80).toWellFormed()} is not done in a batch: send GET, POST or PUT and a URL below the base, such as Observation`;
    return told(400, issueText('error', 'not-supported', words));
  }
  const hasBody = method !== 'GET' && entry.resource !== undefined;
  const response = await outer.server.inject({
    method,
    url: `${FHIR_BASE}/${url}`,
    headers: headersOf(outer, asked, hasBody),
    remoteAddress: outer.ip,
    ...(hasBody ? { payload: writeExact(entry.resource as ExactValue) } : {}),
  });
  const isRead = !isCreate(entry) && !isUpdate(entry);
  return answerOf(response, isRead || preferredReturn(outer) === 'representation');
}

function headersOf(
  outer: FastifyRequest,
  { ifNoneExist, ifMatch, ifNoneMatch, ifModifiedSince }: Omit<BundleEntry['request'], 'url' | 'method'>,
  hasBody: boolean,
): Record<string, string> {
  const { authorization, 'x-request-id': requestId } = outer.headers;
  return {
    accept: FHIR_JSON,
    ...(authorization === undefined ? {} : { authorization }),
    ...(typeof requestId === 'string' ? { 'x-request-id': requestId } : {}),
    ...(hasBody ? { 'content-type': FHIR_JSON } : {}),
    ...(ifNoneExist === undefined ? {} : { 'if-none-exist': ifNoneExist }),
    ...(ifMatch === undefined ? {} : { 'if-match': ifMatch }),
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
      ...(typeof modified === 'string'
        ? { lastModified: updatedIn(payload) ?? new Date(modified).toISOString() }
        : {}),
    },
    outcome: null,
  };
}

/** To the millisecond, where a resource came along: the header has whole seconds. */
const updatedIn = (payload: string): string | undefined => /"lastUpdated":"([^"]+)"/.exec(payload)?.[1];

const told = (status: number, outcome: string): EntryAnswer => ({
  resource: null,
  response: { status: statusText(status) },
  outcome,
});

const statusText = (status: number): string => `${status} ${STATUS_CODES[status] ?? ''}`.trim();
