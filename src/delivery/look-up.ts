/** What a target holds: found by identifier or by id. A server that ignores a parameter finds too much, so all is checked. */
import { z } from 'zod';
import type { Identifier } from '../domain/vocabulary/entry.ts';
import type { Verdict } from './classify.ts';
import type { Connection, Said } from './connection.ts';
import type { HttpAnswer } from './http.ts';
import { parsed } from './outcome.ts';
import { identifiersOf, queryFor } from './resource.ts';

export interface Held {
  /** Type and id at the target. */
  readonly remote: string;
  readonly etag: string | null;
  /** Whole text. */
  readonly text: string;
}

/** What was found, or why nothing can be said. */
export type Found<T> = { readonly found: T } | { readonly verdict: Verdict };

const searchset = z.object({
  resourceType: z.literal('Bundle'),
  entry: z
    .array(z.object({ resource: z.looseObject({ resourceType: z.string(), id: z.string().optional() }) }))
    .optional(),
});
const ID = /^[A-Za-z0-9\-.]{1,64}$/;

/** Names of all resources of a type with an identifier of ours. */
export async function findOurs(
  connection: Connection,
  type: string,
  identifier: Identifier,
): Promise<Found<string[]>> {
  const path = `${type}?${queryFor(identifier)}`;
  return read(await connection.ask({ method: 'GET', path, purpose: 'read' }), type, identifier);
}

/** The same for what may tell who a patient is: by POST, which keeps it out of URLs. Without patients who were replaced. */
export async function findTheirs(
  connection: Connection,
  type: string,
  identifier: Identifier,
): Promise<Found<string[]>> {
  const said = await connection.ask({
    method: 'POST',
    path: `${type}/_search`,
    purpose: 'read',
    headers: { 'content-type': 'application/x-www-form-urlencoded' },
    body: queryFor(identifier),
  });
  return read(said, type, identifier);
}

function read({ verdict, answer }: Said, type: string, { system, value }: Identifier): Found<string[]> {
  if (verdict.kind !== 'taken') return { verdict };
  const bundle = searchset.safeParse(parsed(answer?.body ?? ''));
  if (!bundle.success) return { verdict: unreadable('a search') };
  const names = (bundle.data.entry ?? []).flatMap(({ resource }) => {
    const isIt =
      resource.resourceType === type &&
      ID.test(resource.id ?? '') &&
      !isReplaced(resource) &&
      identifiersOf(resource).some((each) => each.system === system && each.value === value);
    return isIt ? [`${type}/${resource.id}`] : [];
  });
  return { found: [...new Set(names)] };
}

/** Whether what was read is what has this identifier. */
export const isOf = (identifier: Identifier | null, text: string): boolean =>
  identifier === null ||
  identifiersOf(text).some(({ system, value }) => system === identifier.system && value === identifier.value);

/** Of patients who were merged the replaced must no longer be used, though they keep the identifier (FHIR R4, Patient.link). */
const linked = z.object({ link: z.array(z.object({ type: z.string() })) });
function isReplaced(resource: unknown): boolean {
  const { data } = linked.safeParse(resource);
  return data?.link.some(({ type }) => type === 'replaced-by') ?? false;
}

const unreadable = (what: string): Verdict => ({
  kind: 'later',
  outcome: { why: `${what} was answered with something else than FHIR` },
  afterMs: undefined,
});

/** As it stands now; null where there is none. */
export async function readCurrent(connection: Connection, remote: string): Promise<Found<Held | null>> {
  const { verdict, answer } = await connection.ask({ method: 'GET', path: remote, purpose: 'read' });
  if (verdict.kind === 'gone') return { found: null };
  if (verdict.kind !== 'taken' || answer === null) return { verdict };
  // Cut short, it says nothing of what is there.
  if (answer.body === null) return { verdict: unreadable('a read') };
  return { found: { remote, etag: etagOf(answer), text: answer.body } };
}

const versioned = z.object({ meta: z.object({ versionId: z.string() }) });

/** From the header, or from the resource where a server only says it there. */
export function etagOf({ headers, body }: HttpAnswer): string | null {
  if (headers.etag !== undefined && headers.etag !== '') return headers.etag;
  const read = versioned.safeParse(parsed(body ?? ''));
  return read.success ? `W/"${read.data.meta.versionId}"` : null;
}

/** The name of what was made or found, from Location or Content-Location, else from the resource; null where it is not said. */
export function remoteIn(type: string, { headers, body }: HttpAnswer): string | null {
  for (const place of [headers.location, headers['content-location']]) {
    const name = place === undefined ? null : nameIn(type, place);
    if (name !== null) return name;
  }
  const resource = z
    .object({ resourceType: z.literal(type), id: z.string().regex(ID) })
    .safeParse(parsed(body ?? ''));
  return resource.success ? `${type}/${resource.data.id}` : null;
}

/** Only the id is taken from a location: where requests go is configuration. */
function nameIn(type: string, location: string): string | null {
  const [, id] =
    new RegExp(`(?:^|/)${type}/([A-Za-z0-9\\-.]{1,64})(?:/_history/[^/]+)?/?$`).exec(location) ?? [];
  return id === undefined ? null : `${type}/${id}`;
}
