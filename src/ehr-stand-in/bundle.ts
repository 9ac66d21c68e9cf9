import type { Bundle, BundleEntry } from 'fhir/r4.js';
import { z } from 'zod';
import { entryResourceTexts } from './raw-json.ts';
import { outcomeOf, refusal, statusLine, statusOf } from './refusal.ts';
import { checked, parseJson } from './resource-text.ts';
import { keepTogether, type Store, type Version } from './store.ts';
import { createResource, type Target, updateResource, type Written } from './writes.ts';

const bundleShape = z.looseObject({
  resourceType: z.literal('Bundle'),
  type: z.enum(['transaction', 'batch']),
  entry: z
    .array(
      z.looseObject({
        fullUrl: z.string().optional(),
        // Strict, because a condition that is not understood must not be passed over.
        request: z.strictObject({
          method: z.string(),
          url: z.string(),
          ifMatch: z.string().optional(),
          ifNoneExist: z.string().optional(),
        }),
      }),
    )
    .default([]),
});

interface Entry {
  readonly index: number;
  readonly fullUrl: string | undefined;
  readonly request: z.infer<typeof bundleShape>['entry'][number]['request'];
  readonly text: string | undefined;
}

/** The value of the ETag header for a version. */
export function etagOf({ version }: Version): string {
  return `W/"${version}"`;
}

/** Where a version can be read, relative to the base address. */
export function locationOf({ type, id, version }: Version): string {
  return `${type}/${id}/_history/${version}`;
}

function perform(target: Target, { request, text }: Entry): Written {
  if (text === undefined) throw refusal(400, `${request.method} ${request.url} has no resource; add one.`);
  const { method, url, ifNoneExist, ifMatch } = request;
  const [type = '', id, ...rest] = url.split('/');
  if (method === 'POST' && id === undefined && ifMatch === undefined) {
    return createResource(target, type, text, ifNoneExist);
  }
  if (method === 'PUT' && id !== undefined && rest.length === 0 && ifNoneExist === undefined) {
    return updateResource(target, type, id, text, ifMatch);
  }
  throw refusal(
    400,
    `request "${method} ${url}" is not done here; POST Type, if at all with ifNoneExist, ` +
      'or PUT Type/id, if at all with ifMatch.',
  );
}

function responseOf({ status, version }: Written): BundleEntry {
  return {
    response: {
      status: statusLine(status),
      location: locationOf(version),
      etag: etagOf(version),
      lastModified: version.at,
    },
  };
}

/** FHIR has a transaction's creates done before its updates, in whatever order they were listed. */
function inProcessingOrder(entries: readonly Entry[]): Entry[] {
  const rank = ({ request }: Entry) => (request.method === 'POST' ? 0 : 1);
  return entries.toSorted((left, right) => rank(left) - rank(right));
}

function requireNoOverlap(entries: readonly Entry[]): void {
  const urls = entries.filter(({ request }) => request.method === 'PUT').map(({ request }) => request.url);
  const twice = urls.find((url, index) => urls.indexOf(url) !== index);
  if (twice === undefined) return;
  throw refusal(400, `The transaction puts "${twice}" twice; keep the one that is meant.`);
}

/** A server may rewrite such references to the ids it gave; this one keeps texts as sent, so it cannot. */
function requireNoTemporaryReference(entries: readonly Entry[]): void {
  for (const { fullUrl } of entries) {
    if (fullUrl === undefined || !fullUrl.startsWith('urn:')) continue;
    if (entries.some(({ text }) => text?.includes(JSON.stringify(fullUrl)))) {
      throw refusal(422, `A reference to "${fullUrl}" would have to be rewritten; refer to Type/id instead.`);
    }
  }
}

function runTransaction(store: Store, entries: readonly Entry[]): BundleEntry[] {
  requireNoOverlap(entries);
  requireNoTemporaryReference(entries);
  const responses = new Map<number, BundleEntry>();
  keepTogether(store, (add) => {
    for (const entry of inProcessingOrder(entries)) {
      try {
        responses.set(entry.index, responseOf(perform({ store, add }, entry)));
      } catch (error) {
        const reason = error instanceof Error ? error.message : String(error);
        throw refusal(statusOf(error), `Bundle.entry[${entry.index}]: ${reason} Nothing was kept.`);
      }
    }
  });
  return entries.flatMap(({ index }) => responses.get(index) ?? []);
}

function runBatch(store: Store, entries: readonly Entry[]): BundleEntry[] {
  return entries.map((entry) => {
    try {
      return keepTogether(store, (add) => responseOf(perform({ store, add }, entry)));
    } catch (error) {
      return { response: { status: statusLine(statusOf(error)), outcome: outcomeOf(error) } };
    }
  });
}

/**
 * Does everything a Bundle asks for: a transaction as a whole or not at all, a batch entry by entry.
 *
 * @param body the Bundle's text
 * @returns the answering Bundle, with the responses in the order of the requests
 */
export function runBundle(store: Store, body: string): Bundle {
  const bundle = checked('Bundle', bundleShape, parseJson(body));
  const texts = entryResourceTexts(body);
  const entries = bundle.entry.map(
    ({ fullUrl, request }, index): Entry => ({ index, fullUrl, request, text: texts[index] }),
  );
  const responses = bundle.type === 'batch' ? runBatch(store, entries) : runTransaction(store, entries);
  const type = bundle.type === 'batch' ? 'batch-response' : 'transaction-response';
  return { resourceType: 'Bundle', type, ...(responses.length > 0 ? { entry: responses } : {}) };
}
