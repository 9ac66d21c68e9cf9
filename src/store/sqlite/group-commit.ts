/**
 * One transaction for all that has queued by the time the writer is free, and for what still comes in turn after turn
 * of the event loop: no timer, so a lone request waits for nobody, and under load the cost of making it durable is
 * shared by all who wait for it.
 *
 * A group goes on over several turns, and in between the event loop answers who only reads, out of what is committed.
 * Whoever reads what jobs write to (books in memory, the writing connection) ends the group first ({@link
 * GroupCommit.settle}), so that nothing is told that is not durable.
 *
 * What nobody waits for makes way: it shares no group with what somebody does, and goes when none of that is queued, or
 * after a few groups of it.
 */
import type Database from 'better-sqlite3';
import { StoreBusy, StoreFailed } from '../port.ts';
import { createGroup, type GroupListeners, type Job } from './group.ts';

export interface GroupCommit {
  submit<T>(run: () => T): Promise<T>;
  /** The same for what nobody waits for. What was deferred keeps its order. */
  defer<T>(run: () => T): Promise<T>;
  /** What the answer to a reader waits for: it goes before all that is queued, and its group ends with its turn. */
  submitFirst<T>(run: () => T): Promise<T>;
  /** Ends the group under way: until this turn of the event loop is over, all that was written is durable. */
  settle(): void;
  /** Resolves when all that is queued is settled; nothing is taken after. */
  close(): Promise<void>;
}

export interface GroupCommitOptions extends GroupListeners {
  readonly mostInGroup: number;
  /** A group that has been under way for so long, ms, takes no further job. */
  readonly longestMs: number;
  /** After so long, ms, the event loop has its turn: it answers who only reads. */
  readonly longestTurnMs: number;
  /** Steady time, ms. */
  clock(): number;
  readonly mostQueued: number;
  /** Called when all that came is settled and told, and nothing new has come. */
  onIdle(): void;
}

/** Groups in a row that go before what was deferred: under a load without end it still gets on. */
const MOST_BEFORE_DEFERRED = 4;

export function createGroupCommit(db: Database.Database, options: GroupCommitOptions): GroupCommit {
  const { clock } = options;
  const group = createGroup(db, options);
  const first: Job[] = [];
  const queue: Job[] = [];
  const deferred: Job[] = [];
  let isOfDeferred = false;
  let passedOver = 0;
  let isScheduled = false;
  /** So many that somebody waits for came since the turn before, or since the one that is due was scheduled. */
  let came = 0;
  let groupEnds = Infinity;
  let closed: (() => void) | null = null;

  const isFull = (): boolean => group.size() >= options.mostInGroup || clock() >= groupEnds;
  const awaited = (): number => first.length + queue.length;
  const queued = (): number => awaited() + deferred.length;
  const isIdle = (): boolean => queued() + group.size() === 0;

  /** Of the line that the group under way is of. */
  function next(): Job | undefined {
    if (group.size() === 0) {
      const isTheirTurn = awaited() === 0 || (passedOver === MOST_BEFORE_DEFERRED && first.length === 0);
      isOfDeferred = deferred.length > 0 && isTheirTurn;
      passedOver = isOfDeferred || deferred.length === 0 ? 0 : Math.min(passedOver + 1, MOST_BEFORE_DEFERRED);
    }
    return isOfDeferred ? deferred.shift() : (first.shift() ?? queue.shift());
  }

  function turn(): void {
    isScheduled = false;
    const isLast = came === 0;
    const isHurried = first.length > 0;
    came = 0;
    if (isOfDeferred && awaited() > 0) group.commit();
    const pausesAt = clock() + options.longestTurnMs;
    for (let job = next(); job !== undefined; job = next()) {
      if (group.size() === 0) groupEnds = clock() + options.longestMs;
      group.run(job);
      // All that readers wait for shares a commit, however many they are.
      if (isFull() || (first.length === 0 && clock() >= pausesAt)) break;
    }
    const isEmpty = isOfDeferred ? deferred.length === 0 : awaited() === 0;
    if (isHurried || isFull() || (isLast && isEmpty)) group.commit();
    if (!isIdle()) schedule();
    else if (closed === null) setImmediate(rest);
    else closed();
  }

  function rest(): void {
    if (closed === null && isIdle()) options.onIdle();
  }

  /** Each turn reads what has arrived; the first that brings nobody new closes a group that nobody waits to join. */
  function schedule(): void {
    if (isScheduled) return;
    isScheduled = true;
    came = 0;
    setImmediate(turn);
  }

  function submitTo<T>(line: Job[], run: () => T): Promise<T> {
    if (closed !== null) return Promise.reject(new StoreFailed('the store is closing'));
    if (queued() >= options.mostQueued) return Promise.reject(new StoreBusy(1));
    return new Promise<T>((resolve, reject) => {
      line.push({ run, resolve: resolve as (value: unknown) => void, reject });
      if (line !== deferred) came += 1;
      schedule();
    });
  }

  return {
    submit: (run) => submitTo(queue, run),
    defer: (run) => submitTo(deferred, run),
    submitFirst: (run) => submitTo(first, run),
    settle: group.commit,
    close() {
      return new Promise<void>((resolve) => {
        closed = resolve;
        if (isIdle()) resolve();
      });
    },
  };
}
