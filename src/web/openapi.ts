/** What the reference page reads of an OpenAPI 3.1 document, and an example of each operation that can be run. */

export interface Schema {
  readonly $ref?: string;
  readonly description?: string;
  readonly [keyword: string]: unknown;
}

interface Parameter {
  readonly name: string;
  readonly in: 'path' | 'query' | 'header';
  readonly required: boolean;
  readonly description?: string;
  readonly schema: Schema;
}

type Content = Readonly<Record<string, { readonly schema: Schema }>>;

export interface Operation {
  readonly operationId: string;
  readonly summary: string;
  readonly description: string;
  readonly parameters?: readonly Parameter[];
  readonly requestBody?: { readonly content: Content };
  readonly responses: Readonly<Record<string, { readonly description: string; readonly content?: Content }>>;
}

export interface OpenApi {
  readonly info: { readonly title: string; readonly description: string };
  readonly paths: Readonly<Record<string, Readonly<Record<string, Operation>>>>;
  readonly components: { readonly schemas: Readonly<Record<string, Schema>> };
}

export interface Example {
  readonly method: string;
  readonly path: string;
  /** JSON; null where nothing is sent. */
  readonly body: string | null;
  /** Running it writes nothing, and ends. */
  readonly isHarmless: boolean;
}

/** Values of path parameters for examples. */
export interface Known {
  readonly drain: string;
}

/** Queries without which an operation refuses, or that make an example worth looking at. */
const QUERIES: Readonly<Record<string, string>> = {
  enter: '?dry-run=true',
  removalEvidence: '?policy=lobectomy-450-ml-2017',
  trends: '?series=net,rate,total_negativity&bucket=hour&last_h=12',
  plot: '?panels=cumulative,bars&last_h=24',
  plotPicture: '?panels=cumulative,bars&last_h=24',
  overview: '?sort=-age&count=5',
};

/** An invented reading and an invented drain: nobody's. */
const BODIES: Readonly<Record<string, (now: string) => object>> = {
  enter: (now) => ({ ...signed(now), kind: 'reading', level_ml: 120, seal: { level_cmh2o: 5 } }),
  placeDrain: (now) => ({ ...signed(now), site: 'pleural-left', tubes: ['A'], population: 'adult' }),
  enterMany: (now) => ({
    entries: [{ drain: 'id-of-a-drain', ...signed(now), kind: 'reading', level_ml: 120 }],
  }),
};

const signed = (now: string) => ({
  identifier: { system: 'urn:example:reference', value: `example-${Date.parse(now)}` },
  author: { type: 'person', reference: 'Practitioner/example' },
  effective_at: now,
});

/** They never end. */
const ENDLESS = ['drainLive', 'overviewLive'];

/** @param now RFC 3339 */
export function exampleOf(
  method: string,
  path: string,
  { operationId }: Operation,
  known: Known,
  now: string,
): Example {
  const filled = path.replaceAll(/\{(\w+)\}/g, (_, name: string) =>
    name === 'drain' ? known.drain : `{${name}}`,
  );
  const body = BODIES[operationId]?.(now);
  const isRead = method === 'get' && !ENDLESS.includes(operationId);
  return {
    method: method.toUpperCase(),
    path: `${filled}${QUERIES[operationId] ?? ''}`,
    body: body === undefined ? null : JSON.stringify(body, null, 2),
    isHarmless: !filled.includes('{') && (isRead || operationId === 'enter'),
  };
}

/** As a line for a shell. */
export function curlText({ method, path, body }: Example, base: string): string {
  const how = method === 'GET' ? '' : ` -X ${method}`;
  const sent = body === null ? '' : ` \\\n  -H 'content-type: application/json' \\\n  -d '${body}'`;
  return `curl${how} '${base}${path}'${sent}`;
}
