/**
 * Bulk exports from kick-off to expiry. Each is a folder: `job.json` says all that is known of it, so that an export
 * outlives the process; one that was under way is written anew, and comes out the same.
 */
import { randomBytes } from 'node:crypto';
import { mkdirSync, readdirSync, rmSync } from 'node:fs';
import { mkdir, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { readIfThere, writeWhole } from '../../escrow/durable-file.ts';
import { type Job, type Output, readJob, writeJob } from './job.ts';
import { ExportFailed, type Run, runExport } from './run.ts';
import type { ThreadOptions } from './thread.ts';

export interface AskedExport {
  readonly client: string;
  readonly request: string;
  readonly types: readonly string[];
  readonly ofPatients: boolean;
  readonly sinceMs: number | null;
  readonly leftOut: readonly string[];
}

export interface ExportView {
  readonly job: Job;
  /** Of the work, 0 to 1. */
  readonly part: number;
  /** When what is written goes away, ms since the epoch. */
  readonly expiresMs: number | null;
}

export interface Exports {
  /** Accepted means durable. @returns its id, or null while too many are kept */
  start(asked: AskedExport): Promise<string | null>;
  /** Undefined where the client has none of this id, or no longer. */
  find(id: string, client: string): ExportView | undefined;
  /** Ends it if it runs, and removes what it wrote. @returns false where there is none */
  remove(id: string, client: string): Promise<boolean>;
  /** Path of a file, and what is in it. */
  file(id: string, client: string, name: string): (Output & { readonly path: string }) | undefined;
  /** Stops what runs; it goes on at the next start. */
  close(): Promise<void>;
}

export interface ExportOptions {
  readonly database: string;
  /** Made where it is missing, for its owner's eyes only. */
  readonly folder: string;
  readonly log: { info(facts: object, message: string): void; error(facts: object, message: string): void };
  now(): number;
}

export const KEPT_MS = 24 * 3_600_000;
/** Complete ones as well: they fill the disk. */
const MOST_KEPT = 20;
const SWEEP_MS = 60_000;

interface Kept {
  job: Job;
  part: number;
}

/** @throws {Error} where the folder cannot be used */
export function openExports(options: ExportOptions): Exports {
  const { folder, now, log } = options;
  const kept = new Map<string, Kept>();
  let running: { readonly id: string; readonly run: Run } | null = null;
  let working: Promise<void> = Promise.resolve();
  let closing = false;
  const folderOf = (id: string): string => join(folder, id);

  const store = (job: Job): Promise<void> => writeWhole(join(folderOf(job.id), 'job.json'), writeJob(job));

  /** Without its `job.json` a folder holds no export, wherever this is cut short. */
  async function discard(id: string): Promise<void> {
    kept.delete(id);
    if (running?.id === id) await running.run.stop();
    await rm(join(folderOf(id), 'job.json'), { force: true });
    await rm(folderOf(id), { recursive: true, force: true });
  }

  async function work(one: Kept): Promise<void> {
    const { id } = one.job;
    const out = join(folderOf(id), 'files');
    await rm(out, { recursive: true, force: true });
    await mkdir(out, { mode: 0o700 });
    // Asked after the last wait before it runs: from then on there is something that can be stopped.
    if (closing || !kept.has(id)) return;
    const run = runExport(threadOptions(options.database, out, one.job), (part) => {
      one.part = part;
    });
    running = { id, run };
    const outputs = await run.ended.finally(() => {
      running = null;
    });
    if (outputs === null || !kept.has(id)) return;
    const job: Job = { ...one.job, state: { is: 'complete', at_ms: now(), outputs: [...outputs] } };
    await store(job);
    one.job = job;
    log.info({ resources: outputs.reduce((sum, { count }) => sum + count, 0) }, 'an export is complete');
  }

  async function fail(one: Kept, error: unknown): Promise<void> {
    const { id } = one.job;
    // It was removed under what wrote it.
    if (!kept.has(id)) return;
    const why = codeOf(error);
    one.job = { ...one.job, state: { is: 'failed', at_ms: now(), why } };
    log.error({ why }, 'an export failed');
    await rm(join(folderOf(id), 'files'), { recursive: true, force: true });
    await store(one.job);
  }

  function queue(one: Kept): void {
    working = working
      .then(() => work(one))
      .catch((error: unknown) => fail(one, error))
      .catch((error: unknown) => {
        log.error(
          { why: codeOf(error) },
          'that an export failed cannot be kept: it begins anew at the next start',
        );
      });
  }

  function sweep(): void {
    for (const [id, { job }] of kept) {
      if (isOver(job, now()))
        discard(id).catch((error: unknown) =>
          log.error({ why: codeOf(error) }, 'an export that is over cannot be removed'),
        );
    }
  }

  for (const job of storedIn(folder)) kept.set(job.id, { job, part: 0 });
  sweep();
  for (const one of kept.values()) if (one.job.state.is === 'waiting') queue(one);
  const sweeping = setInterval(sweep, SWEEP_MS).unref();

  const owned = (id: string, client: string): Kept | undefined => {
    const one = kept.get(id);
    return one?.job.client === client && !isOver(one.job, now()) ? one : undefined;
  };

  return {
    async start(asked) {
      if (kept.size >= MOST_KEPT) return null;
      const one = { job: jobOf(asked, now()), part: 0 };
      const { id } = one.job;
      // Counted before the first wait, so that many who ask at once are no more than one after another.
      kept.set(id, one);
      try {
        await mkdir(folderOf(id), { mode: 0o700 });
        await store(one.job);
      } catch (error) {
        kept.delete(id);
        throw error;
      }
      queue(one);
      return id;
    },
    find(id, client) {
      const one = owned(id, client);
      return one === undefined ? undefined : { ...one, expiresMs: expiryOf(one.job) };
    },
    async remove(id, client) {
      if (owned(id, client) === undefined) return false;
      await discard(id);
      return true;
    },
    file(id, client, name) {
      const one = owned(id, client);
      if (one?.job.state.is !== 'complete') return undefined;
      const output = one.job.state.outputs.find((each) => each.name === name);
      return output === undefined ? undefined : { ...output, path: join(folderOf(id), 'files', name) };
    },
    async close() {
      closing = true;
      clearInterval(sweeping);
      await running?.run.stop();
      await working;
    },
  };
}

/** All that was recorded before this millisecond is durable, and nothing more will be: recording is never backwards. */
const jobOf = (asked: AskedExport, nowMs: number): Job => ({
  v: 1,
  id: randomBytes(16).toString('base64url'),
  client: asked.client,
  request: asked.request,
  types: [...asked.types],
  of_patients: asked.ofPatients,
  since_ms: asked.sinceMs,
  until_ms: nowMs - 1,
  left_out: [...asked.leftOut],
  state: { is: 'waiting' },
});

const threadOptions = (database: string, folder: string, job: Job): ThreadOptions => ({
  database,
  folder,
  wanted: {
    types: job.types,
    ofPatients: job.of_patients,
    sinceMs: job.since_ms,
    untilMs: job.until_ms,
    leftOut: job.left_out,
  },
});

const expiryOf = ({ state }: Job): number | null => (state.is === 'waiting' ? null : state.at_ms + KEPT_MS);

function isOver(job: Job, nowMs: number): boolean {
  const expires = expiryOf(job);
  return expires !== null && expires <= nowMs;
}

const ID = /^[A-Za-z0-9_-]{22}$/;

/** The exports of earlier runs. What was being made or removed when one ended is cleared away; nothing else is touched. */
function storedIn(folder: string): readonly Job[] {
  mkdirSync(folder, { recursive: true, mode: 0o700 });
  return readdirSync(folder)
    .filter((name) => ID.test(name))
    .flatMap((name) => {
      const text = readIfThere(join(folder, name, 'job.json'));
      if (text === undefined) rmSync(join(folder, name), { recursive: true });
      const job = text === undefined ? undefined : readJob(text);
      return job?.id === name ? [job] : [];
    });
}

/** Code of an error, or its name: a message might quote what was read. */
const codeOf = (error: unknown): string => {
  if (error instanceof ExportFailed) return error.message;
  return error instanceof Error && 'code' in error ? String(error.code) : 'Error';
};
