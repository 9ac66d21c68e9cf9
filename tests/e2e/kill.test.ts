/**
 * The service is killed with SIGKILL ten times at random moments while readings come in and Observations go out.
 * Afterwards every acknowledged entry must be there, the derived values must equal those of a run without kills, and
 * the EHR must hold each Observation once, in its final version; and the history must be the one that was signed.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { rawPublicKey } from '../../src/audit/checkpoint.ts';
import { readKeyFile } from '../../src/audit/key-file.ts';
import { verifyDatabase } from '../../src/cli/verify/database.ts';
import type { Report } from '../../src/cli/verify/report.ts';
import { readEscrow } from '../../src/escrow/escrow-file.ts';
import { createFrameReader } from '../../src/store/sqlite/frames.ts';
import { openReader } from '../../src/store/sqlite/open.ts';
import { freePort, killAll, type Process, startService, startStandIn } from './processes.ts';
import { type Post, placementOf, seeded, storyOf } from './story.ts';

const KILLS = 10;
const DRAINS = 6;
const READINGS = 40;
const seed = Number(process.env.SEED ?? Date.now() % 1_000_000);
const folder = mkdtempSync(join(tmpdir(), 'drainledger-kill-'));
afterAll(() => {
  killAll();
  rmSync(folder, { recursive: true, force: true });
});

interface Receipt {
  readonly drain: string;
  readonly sequence: number;
}

const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** Posts until it is acknowledged, as a careful sender does: the same message again whenever no answer came. */
async function postUntilAcknowledged(url: string, body: object): Promise<Receipt> {
  for (;;) {
    try {
      const response = await fetch(url, {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify(body),
      });
      if (response.status === 200 || response.status === 201) return (await response.json()) as Receipt;
      if (response.status !== 503) throw new Error(`${response.status}: ${await response.text()}`);
    } catch (error) {
      if (!(error instanceof TypeError)) throw error;
    }
    await pause(10);
  }
}

/** Tells all stories at once, a drain each; receipts come in as they are acknowledged. */
async function tellStory(
  base: string,
  stories: readonly (readonly Post[])[],
  receipts = new Map<string, Receipt>(),
): Promise<Map<string, Receipt>> {
  await Promise.all(
    stories.map(async (posts, drain) => {
      const placed = await postUntilAcknowledged(`${base}/v1/drains`, placementOf(drain));
      for (const { key, body } of posts) {
        receipts.set(key, await postUntilAcknowledged(`${base}/v1/drains/${placed.drain}/entries`, body));
      }
    }),
  );
  return receipts;
}

interface ReadyAnswer {
  readonly deliveries: readonly { readonly state: string; readonly count: number }[];
}

async function untilDelivered(base: string): Promise<void> {
  const end = Date.now() + 60_000;
  while (Date.now() < end) {
    const { deliveries } = (await (await fetch(`${base}/readyz`)).json()) as ReadyAnswer;
    expect(deliveries.filter(({ state }) => state === 'dead')).toEqual([]);
    if (deliveries.every(({ state }) => state === 'idle')) return;
    await pause(50);
  }
  throw new Error('deliveries did not settle within 60 s');
}

async function charts(base: string): Promise<Map<string, unknown>> {
  const { drains } = (await (await fetch(`${base}/v1/drains`)).json()) as { drains: { drain: string }[] };
  const found = new Map<string, unknown>();
  for (const { drain } of drains) {
    const chart = (await (await fetch(`${base}/v1/drains/${drain}/chart`)).json()) as { rows: unknown };
    found.set(drain, chart.rows);
  }
  return found;
}

/** The current text of every resource that a closed database ever issued, by type and id. */
function currentTexts(database: string): Map<string, string> {
  const db = openReader(database);
  const textsIn = createFrameReader(db);
  const current = new Map<string, string>();
  for (const stored of db
    .prepare<[], string>('SELECT resources FROM issued ORDER BY log_index')
    .pluck()
    .iterate()) {
    for (const text of textsIn(stored)) {
      const { resourceType, id } = JSON.parse(text) as { resourceType: string; id: string };
      current.set(`${resourceType}/${id}`, text);
    }
  }
  db.close();
  return current;
}

/** The history against every checkpoint that was told before and between the kills. */
function verified(database: string): Report {
  const { notes } = readEscrow(readFileSync(`${database}.escrow`, 'utf8'));
  expect(notes.length).toBeGreaterThan(KILLS);
  const outside = notes.map((note) => ({ where: `escrow of ${note.size}`, note }));
  const given = rawPublicKey(readKeyFile(`${database}.key`));
  return verifyDatabase(database, { given, outside, onProgress() {} });
}

describe('killed ten times in the middle of its work', () => {
  it(`loses nothing, doubles nothing and derives the same (seed ${seed})`, async () => {
    const random = seeded(seed);
    const stories = Array.from({ length: DRAINS }, (_, drain) => storyOf(drain, READINGS, random));
    const [port, ehrPort] = [await freePort(), await freePort()];
    const base = `http://127.0.0.1:${port}`;
    const database = join(folder, 'killed.db');
    const ehr = await startStandIn(ehrPort, join(folder, 'ehr.ndjson'));
    let service: Process = await startService(port, database, ehrPort);

    const acknowledged = new Map<string, Receipt>();
    const telling = tellStory(base, stories, acknowledged);
    let killsWhileTelling = 0;
    for (let kill = 0; kill < KILLS; kill += 1) {
      await pause(50 + random() * 400);
      expect(await service.end('SIGKILL')).toBeNull();
      if (acknowledged.size < stories.flat().length) killsWhileTelling += 1;
      service = await startService(port, database, ehrPort);
    }
    const receipts = await telling;
    expect(killsWhileTelling).toBeGreaterThanOrEqual(KILLS / 2);
    await untilDelivered(base);

    for (const [key, { drain, sequence }] of receipts) {
      const page = await fetch(`${base}/v1/drains/${drain}/entries?after=${sequence - 1}`);
      const { entries } = (await page.json()) as { entries: { body: { identifier: { value: string } } }[] };
      expect(entries[0]?.body.identifier.value).toBe(key);
    }
    const afterKills = await charts(base);
    expect(await service.end('SIGTERM')).toBe(0);
    expect(verified(database)).toMatchObject({ finding: null });

    const expected = currentTexts(database);
    for (const [name, text] of expected) {
      const stored = await fetch(`http://127.0.0.1:${ehrPort}/fhir/${name}`);
      expect(await stored.text()).toBe(text);
    }
    const { resources } = (await (await fetch(`http://127.0.0.1:${ehrPort}/_received`)).json()) as {
      resources: Record<string, number>;
    };
    expect(Object.values(resources).reduce((sum, count) => sum + count, 0)).toBe(expected.size);
    expect(Object.keys(resources).sort()).toEqual(['Device', 'Observation', 'Provenance']);
    await ehr.end('SIGTERM');

    const cleanPort = await freePort();
    const clean = await startService(cleanPort, join(folder, 'clean.db'), await freePort());
    await tellStory(`http://127.0.0.1:${cleanPort}`, stories);
    expect(await charts(`http://127.0.0.1:${cleanPort}`)).toEqual(afterKills);
    expect(await clean.end('SIGTERM')).toBe(0);
  }, 180_000);
});
