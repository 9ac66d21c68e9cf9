/** An index over resources that a test makes up: a ledger that holds nothing but them, and questions to it. */
import { createHash } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Bundle, Observation, Parameters } from 'fhir/r4.js';
import type { Pair } from '../../src/fhir/search/query.ts';
import type { ResourceType } from '../../src/fhir/search/resource-type.ts';
import { RESOURCE_TYPES } from '../../src/fhir/search/resource-types.ts';
import { type Held, openHeld } from '../../src/search/held.ts';
import { typeHistory } from '../../src/search/history.ts';
import { lastn } from '../../src/search/lastn.ts';
import type { Ask } from '../../src/search/port.ts';
import { read } from '../../src/search/read.ts';
import { search } from '../../src/search/search.ts';
import { stats } from '../../src/search/stats.ts';
import { migrate } from '../../src/store/sqlite/migrate.ts';
import { openWriter } from '../../src/store/sqlite/open.ts';

const MIGRATIONS = fileURLToPath(new URL('../../migrations', import.meta.url));
export const BASE = 'http://fhir.example/fhir';
const NOW_MS = Date.parse('2026-06-01T00:00:00Z');
export const OBSERVATION = RESOURCE_TYPES.find(({ type }) => type === 'Observation') as ResourceType;

/** A resource as it would be issued; the version is told to the index by `meta`. */
export type Content = Readonly<Record<string, unknown>> & { readonly id: string };

export interface Indexed {
  readonly file: string;
  readonly held: Held;
  /** Issues resources together, as one entry; a second issue of an id is its next version. */
  issue(...resources: readonly Content[]): void;
  /** Brings the index up to the ledger. */
  follow(): void;
  ask(kind: Ask['kind'], query: string, more?: Partial<Ask>): Bundle<Observation>;
  /** $stats. */
  stats(query: string): Parameters;
  /** Ids of all pages of a search, in order. */
  ids(query: string): readonly string[];
  close(): void;
}

export const CANONICAL = 'http://example.org/test';

export function indexed(zone = 'UTC'): Indexed {
  const folder = mkdtempSync(join(tmpdir(), 'drainledger-search-'));
  const file = join(folder, 'ledger.db');
  const db = openWriter(file);
  migrate(db, MIGRATIONS);
  const held = openHeld({ database: file, zone, canonical: CANONICAL });
  const versions = new Map<string, number>();
  let log = 0;

  const issue = db.transaction((resources: readonly Content[]) => {
    const hash = createHash('sha256').update(String(log)).digest('hex');
    db.prepare('INSERT INTO ledger VALUES (?, ?, ?, ?, ?)').run(log, 'test', log, envelopeOf(log), hash);
    const stored = resources.map((resource) => {
      const version = (versions.get(resource.id) ?? 0) + 1;
      versions.set(resource.id, version);
      const text = written(resource, version, recordedMs(log));
      const name = createHash('sha256').update(text).digest('hex');
      db.prepare('INSERT INTO frame VALUES (?, ?)').run(name, text);
      return [name];
    });
    db.prepare('INSERT INTO issued VALUES (?, ?, ?)').run('test', log, JSON.stringify(stored));
    log += 1;
  });

  const follow = (): void => {
    while (held.follower.reached() < held.follower.target()) held.follower.step(300);
  };
  const ANSWERS = { search, read, history: typeHistory, lastn, stats };
  const answer = (kind: Ask['kind'], query: string, more: Partial<Ask>): string => {
    follow();
    const pairs = [...new URLSearchParams(query)].map(([name, value]): Pair => [name, value]);
    const asked = {
      kind,
      type: 'Observation',
      pairs,
      base: BASE,
      lenient: false,
      within: null,
      readable: ['Observation', 'Device', 'Provenance'],
      nowMs: NOW_MS,
      ...more,
    };
    return ANSWERS[kind](held, OBSERVATION, asked).text;
  };
  const ask: Indexed['ask'] = (kind, query, more = {}) => JSON.parse(answer(kind, query, more));
  return {
    file,
    held,
    issue: (...resources) => issue(resources),
    follow,
    ask,
    stats: (query) => JSON.parse(answer('stats', query, {})),
    ids(query) {
      const found: string[] = [];
      for (let page = ask('search', query); ; ) {
        for (const { resource, search: how } of page.entry ?? [])
          if (how?.mode === 'match') found.push(resource?.id ?? '');
        const next = nextOf(page);
        if (next === undefined) return found;
        page = ask('search', next);
      }
    },
    close() {
      held.close();
      db.close();
      rmSync(folder, { recursive: true });
    },
  };
}

const recordedMs = (log: number): number => NOW_MS - 1_000_000 + 1000 * log;

/** Of an entry that the service itself wrote: it is an AuditEvent of no patient. */
const envelopeOf = (log: number): string =>
  JSON.stringify({
    actor: { type: 'service' },
    entry: `test-${log}`,
    origin: 'test.example',
    recorded_at: new Date(recordedMs(log)).toISOString(),
    stream: 'test',
    type: 'test',
  });

/** Query of the link to the next page. */
export const nextOf = (page: Bundle): string | undefined =>
  page.link?.find(({ relation }) => relation === 'next')?.url.split('?')[1];

function written(
  { resourceType = 'Observation', id, ...rest }: Content,
  version: number,
  ms: number,
): string {
  const meta = { versionId: String(version), lastUpdated: new Date(ms).toISOString() };
  return JSON.stringify({ resourceType, id, ...rest, meta: undefined }).replace(
    `"id":${JSON.stringify(id)}`,
    (opening) => `${opening},"meta":${JSON.stringify(meta)}`,
  );
}
