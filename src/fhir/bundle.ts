/** Bundles put together around texts that were issued: those go in unparsed, digits and all. */
import type { OperationOutcome } from 'fhir/r4.js';

export interface Links {
  readonly self: string;
  readonly next: string | null;
}

export interface Found {
  readonly type: string;
  readonly id: string;
  readonly text: string;
  readonly mode: 'match' | 'include';
}

/** @param total null where it was not counted @param outcome what was left out, if anything */
export function searchset(
  base: string,
  found: readonly Found[],
  links: Links,
  total: number | null,
  outcome: OperationOutcome | null,
): string {
  const entries = found.map(
    ({ type, id, text, mode }) =>
      `{"fullUrl":"${base}/${type}/${id}","resource":${text},"search":{"mode":"${mode}"}}`,
  );
  if (outcome !== null) entries.push(`{"resource":${JSON.stringify(outcome)},"search":{"mode":"outcome"}}`);
  return bundle('searchset', total, links, entries);
}

export interface Version {
  readonly type: string;
  readonly id: string;
  readonly version: string;
  readonly lastUpdated: string;
  readonly text: string;
}

/** @param versions newest first */
export function historyBundle(
  base: string,
  versions: readonly Version[],
  links: Links,
  total: number | null,
): string {
  const entries = versions.map(({ type, id, version, lastUpdated, text }) => {
    const request = { method: 'PUT', url: `${type}/${id}` };
    const response = {
      status: version === '1' ? '201' : '200',
      etag: `W/"${version}"`,
      lastModified: lastUpdated,
    };
    return `{"fullUrl":"${base}/${type}/${id}","resource":${text},"request":${JSON.stringify(request)},"response":${JSON.stringify(response)}}`;
  });
  return bundle('history', total, links, entries);
}

function bundle(
  type: 'searchset' | 'history',
  total: number | null,
  { self, next }: Links,
  entries: readonly string[],
): string {
  const links = [
    { relation: 'self', url: self },
    ...(next === null ? [] : [{ relation: 'next', url: next }]),
  ];
  const counted = total === null ? '' : `"total":${total},`;
  // FHIR knows no empty arrays.
  const listed = entries.length === 0 ? '' : `,"entry":[${entries.join(',')}]`;
  return `{"resourceType":"Bundle","type":"${type}",${counted}"link":${JSON.stringify(links)}${listed}}`;
}

/** Version and time stand in `meta`, which our own writers put right after the id. */
const OPENING =
  /^\{"resourceType":"([A-Za-z]+)","id":"([^"]+)","meta":\{"versionId":"(\d+)","lastUpdated":"([^"]+)"/;

/** @throws {Error} when the text was not written here */
export function versionOf(text: string): Version {
  const [, type, id, version, lastUpdated] = OPENING.exec(text) ?? [];
  if (type === undefined || id === undefined || version === undefined || lastUpdated === undefined)
    throw new Error('an issued text does not start as ours do');
  return { type, id, version, lastUpdated, text };
}

const TYPE_OPENING = '{"resourceType":"';

/** The type alone, which is read of a million texts in turn. @throws {Error} when the text was not written here */
export function typeOf(text: string): string {
  const end = text.indexOf('"', TYPE_OPENING.length);
  if (!text.startsWith(TYPE_OPENING) || end < 0) throw new Error('an issued text does not start as ours do');
  return text.slice(TYPE_OPENING.length, end);
}
