import type { BundleEntry } from 'fhir/r4.js';
import { z } from 'zod';
import { etagOf } from './bundle.ts';
import { statusLine } from './refusal.ts';
import { checked } from './resource-text.ts';
import { historyOf, matchesOf, resourcesOf, type Store, type Version } from './store.ts';
import { identifierToken, requireKnownType } from './writes.ts';

const wholeNumber = z.string().regex(/^\d{1,9}$/, 'must be a whole number');

// Strict, because a search that leaves out a condition finds too much without saying so.
const searchShape = z.strictObject({
  identifier: z.string().optional(),
  _count: wholeNumber.default('50'),
  _offset: wholeNumber.default('0'),
});

function entryText(
  base: string,
  version: Version,
  rest: Pick<BundleEntry, 'search' | 'request' | 'response'>,
) {
  const fullUrl = JSON.stringify(`${base}/${version.type}/${version.id}`);
  return `{"fullUrl":${fullUrl},"resource":${version.text},${JSON.stringify(rest).slice(1)}`;
}

/** Puts a Bundle together as text, so that the resources in it stay exactly as they were sent. */
function bundleText(head: object, entries: readonly string[]): string {
  const opened = JSON.stringify({ resourceType: 'Bundle', ...head }).slice(0, -1);
  // FHIR forbids an empty array, so a Bundle of nothing has no entry at all.
  return entries.length === 0 ? `${opened}}` : `${opened},"entry":[${entries.join(',')}]}`;
}

/**
 * Answers a search by type with one page of a searchset.
 *
 * @param base the address under which the resources are read
 * @param query the parameters as they came; only `identifier`, `_count` and `_offset` are understood
 */
export function searchText(store: Store, base: string, type: string, query: unknown): string {
  requireKnownType(type);
  const { identifier, _count, _offset } = checked('search', searchShape, query);
  const found =
    identifier === undefined ? resourcesOf(store, type) : matchesOf(store, type, identifierToken(identifier));
  const offset = Number(_offset);
  const end = offset + Number(_count);
  const page = (from: number) => {
    const filter = identifier === undefined ? {} : { identifier };
    return `${base}/${type}?${new URLSearchParams({ ...filter, _count, _offset: String(from) })}`;
  };
  const link = [{ relation: 'self', url: page(offset) }];
  // A page of none has no successor: following it would never end.
  if (end > offset && end < found.length) link.push({ relation: 'next', url: page(end) });
  const entries = found
    .slice(offset, end)
    .map((version) => entryText(base, version, { search: { mode: 'match' } }));
  return bundleText({ type: 'searchset', total: found.length, link }, entries);
}

/** Every version of a resource as a history Bundle, the latest first. */
export function historyText(store: Store, base: string, type: string, id: string): string {
  const versions = historyOf(store, type, id).toReversed();
  const entries = versions.map((version) => {
    const status = statusLine(version.version === 1 ? 201 : 200);
    const url = version.method === 'POST' ? type : `${type}/${id}`;
    return entryText(base, version, {
      request: { method: version.method, url },
      response: { status, etag: etagOf(version), lastModified: version.at },
    });
  });
  return bundleText({ type: 'history', total: versions.length }, entries);
}
