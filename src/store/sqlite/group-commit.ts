/**
 * One transaction for all that has queued by the time the writer is free, and for what still comes in turn after turn
 * of the event loop: no timer, so a lone request waits for nobody, and under load the cost of making it durable is
 * shared by all who wait for it.
 *
 * A job that throws takes its group down with it; the group is then run again one job at a time, so that the bad one
 * fails alone. Nothing is answered before COMMIT has returned.
 */
import type Database from 'better-sqlite3';
import { StoreBusy, StoreFailed } from '../port.ts';

interface Job<T = unknown> {
  run(): T;
  resolve(value: T): void;
  reject(error: Error): void;
}

export interface GroupCommit {
  submit<T>(run: () => T): Promise<T>;
  /** Resolves when all that is queued is settled; nothing is taken after. */
  close(): Promise<void>;
}

export interface GroupCommitOptions {
  readonly mostInGroup: number;
  /** A group that has run for so long, ms, takes no further job: between groups the event loop answers who only reads. */
  readonly longestMs: number;
  /** Steady time, ms. */
  clock(): number;
  readonly mostQueued: number;
  /** Called after a commit, before those who wait for it are told. */
  onCommit(): void;
  /** Called last in each transaction. */
  beforeCommit(): void;
  /** Called after each group, when its jobs are settled. */
  onSettled(): void;
  /** Called after a rollback: whatever was kept in memory of this group is void. */
  onRollback(): void;
  /** Called when the file can no longer be trusted; the process should end. */
  onFatal(error: Error): void;
}

export function createGroupCommit(db: Database.Database, options: GroupCommitOptions): GroupCommit {
  const begin = db.prepare('BEGIN IMMEDIATE');
  const commit = db.prepare('COMMIT');
  let queue: Job[] = [];
  let scheduled = false;
  let closed: (() => void) | null = null;

  function flush(): void {
    scheduled = false;
    const group = queue.slice(0, options.mostInGroup);
    let settled = commitGroup(group);
    if (settled === 0) for (const job of group) settled += commitGroup([job]);
    queue = queue.slice(settled);
    options.onSettled();
    if (queue.length > 0) schedule();
    else closed?.();
  }

  /** @returns how many of the jobs are settled; none when several failed and must be run one by one */
  function commitGroup(group: readonly Job[]): number {
    try {
      begin.run();
      const values = valuesOf(group);
      options.beforeCommit();
      commit.run();
      options.onCommit();
      values.forEach((value, i) => {
        group[i]?.resolve(value);
      });
      return values.length;
    } catch (error) {
      if (db.inTransaction) db.exec('ROLLBACK');
      options.onRollback();
      const failure = asFailure(error);
      if (isFatal(error)) options.onFatal(failure);
      if (group.length > 1 && !isFatal(error)) return 0;
      for (const job of group) job.reject(failure);
      return group.length;
    }
  }

  /** Of the first job at least, and of as many more as there is time for. */
  function valuesOf(group: readonly Job[]): unknown[] {
    const end = options.clock() + options.longestMs;
    const values: unknown[] = [];
    for (const job of group) {
      values.push(job.run());
      if (options.clock() >= end) break;
    }
    return values;
  }

  function schedule(): void {
    if (scheduled) return;
    scheduled = true;
    setImmediate(gather, queue.length);
  }

  /** Each turn reads what has arrived; the first that brings nobody new closes the group. */
  function gather(before: number): void {
    const isGrowing = queue.length > before && queue.length < options.mostInGroup;
    if (isGrowing) setImmediate(gather, queue.length);
    else flush();
  }

  return {
    submit<T>(run: () => T): Promise<T> {
      if (closed !== null) return Promise.reject(new StoreFailed('the store is closing'));
      if (queue.length >= options.mostQueued) return Promise.reject(new StoreBusy(1));
      return new Promise<T>((resolve, reject) => {
        queue.push({ run, resolve: resolve as (value: unknown) => void, reject });
        schedule();
      });
    },
    close() {
      return new Promise<void>((resolve) => {
        closed = resolve;
        if (queue.length === 0) resolve();
      });
    },
  };
}

function codeOf(error: unknown): string {
  return error instanceof Error && 'code' in error ? String(error.code) : '';
}

/** After these the state of the file is unknown, or known to be bad: retrying could acknowledge what is not there. */
function isFatal(error: unknown): boolean {
  return /^SQLITE_(IOERR|CORRUPT|NOTADB)/.test(codeOf(error));
}

function asFailure(error: unknown): Error {
  const code = codeOf(error);
  if (!code.startsWith('SQLITE_')) return error instanceof Error ? error : new Error(String(error));
  return new StoreFailed(`nothing was written: ${code}`, { cause: error });
}
