/**
 * The group that is under way: one transaction, the jobs that ran in it, and what they came to.
 *
 * A job that throws takes its group down with it; the group is then run again one job at a time, so that the bad one
 * fails alone. Nobody is told anything before COMMIT has returned.
 */
import type Database from 'better-sqlite3';
import { StoreFailed } from '../port.ts';

export interface Job<T = unknown> {
  run(): T;
  resolve(value: T): void;
  reject(error: Error): void;
}

export interface GroupListeners {
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

export interface Group {
  /** Runs a job in the group under way, or in a new one. */
  run(job: Job): void;
  /** Jobs that ran and are not settled. */
  size(): number;
  /** Commits what ran, and settles it. Nothing happens where nothing is under way, or from within a job. */
  commit(): void;
}

interface Ran {
  readonly job: Job;
  readonly value: unknown;
}

export function createGroup(db: Database.Database, listeners: GroupListeners): Group {
  const beginning = db.prepare('BEGIN IMMEDIATE');
  const committing = db.prepare('COMMIT');
  let ran: Ran[] = [];
  /** A job, or the commit: who is called by it finds things as they are in the middle of the group. */
  let isAtWork = false;

  function working<T>(work: () => T): T {
    isAtWork = true;
    try {
      return work();
    } finally {
      isAtWork = false;
    }
  }

  function run(job: Job): void {
    try {
      if (ran.length === 0) beginning.run();
      const value = working(() => job.run());
      ran.push({ job, value });
    } catch (error) {
      takeBack([...ran.map((each) => each.job), job], error);
    }
  }

  function commit(): void {
    if (ran.length === 0 || isAtWork) return;
    const group = ran;
    try {
      working(() => {
        listeners.beforeCommit();
        committing.run();
      });
      ran = [];
      listeners.onCommit();
      for (const { job, value } of group) job.resolve(value);
    } catch (error) {
      const jobs = group.map(({ job }) => job);
      takeBack(jobs, error);
      return;
    }
    listeners.onSettled();
  }

  function takeBack(group: readonly Job[], error: unknown): void {
    if (db.inTransaction) db.exec('ROLLBACK');
    ran = [];
    listeners.onRollback();
    const failure = asFailure(error);
    if (isFatal(error)) listeners.onFatal(failure);
    const isEachToBeTried = group.length > 1 && !isFatal(error);
    for (const job of group) {
      if (isEachToBeTried) runAlone(job);
      else job.reject(failure);
    }
    listeners.onSettled();
  }

  function runAlone(job: Job): void {
    run(job);
    commit();
  }

  return { run, size: () => ran.length, commit };
}

function codeOf(error: unknown): string {
  return error instanceof Error && 'code' in error ? String(error.code) : '';
}

/** After these the state of the file is unknown, or known to be bad: retrying could acknowledge what is not there. */
export function isFatal(error: unknown): boolean {
  return /^SQLITE_(IOERR|CORRUPT|NOTADB)/.test(codeOf(error));
}

export function asFailure(error: unknown): Error {
  const code = codeOf(error);
  if (!code.startsWith('SQLITE_')) return error instanceof Error ? error : new Error(String(error));
  return new StoreFailed(`nothing was written: ${code}`, { cause: error });
}
