/**
 * Entries on their way: each is kept in this browser before it is sent, under the identifier it was made with, and let
 * go only when the service has answered for it. Sending one again is safe: the service knows its identifier.
 */

import { NoAnswer, type Problem, post } from './api.ts';
import { serviceNow } from './clock.ts';

export interface Waiting {
  readonly id: string;
  /** Null for a placement, which makes the drain. */
  readonly drain: string | null;
  /** Where it is posted. */
  readonly path: string;
  /** JSON text, as it is sent each time. */
  readonly body: string;
  /** What it is, in words. */
  readonly words: string;
  readonly savedAt: number;
  /** Why the service does not take it; null while it waits to be sent. */
  readonly refused: Problem | null;
}

/** The kind of what it charts, or of what it corrects. */
export function kindIn({ drain, body: text }: Pick<Waiting, 'drain' | 'body'>): string {
  const body = JSON.parse(text) as {
    readonly kind?: string;
    readonly replacement?: { readonly kind: string };
  };
  return drain === null ? 'placed' : (body.replacement?.kind ?? body.kind ?? '');
}

const PREFIX = 'waiting ';
const AGAIN_MS = 5000;
const listeners = new Set<() => void>();

/** Calls back whenever what waits has changed. @returns how to stop */
export function onOutbox(listener: () => void): () => void {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

const changed = (): void => {
  for (const listener of listeners) listener();
};

export function waiting(): readonly Waiting[] {
  return (
    Object.keys(localStorage)
      .filter((key) => key.startsWith(PREFIX))
      .map((key) => JSON.parse(localStorage.getItem(key) ?? 'null') as Waiting)
      // Earlier pages kept a placement under an empty drain; what waits in a browser outlives the page.
      .map((entry) => ({ ...entry, drain: entry.drain || null }))
      .sort((a, b) => a.savedAt - b.savedAt)
  );
}

/** 128 random bits; unlike randomUUID this is there without a secure context too. */
export const freshKey = (): string =>
  [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, '0')).join('');

function keep(entry: Waiting): void {
  localStorage.setItem(`${PREFIX}${entry.id}`, JSON.stringify(entry));
  changed();
}

export function letGo(id: string): void {
  localStorage.removeItem(`${PREFIX}${id}`);
  changed();
}

export type Sent<T> =
  | { readonly state: 'recorded'; readonly receipt: T }
  | { readonly state: 'waiting' }
  | { readonly state: 'refused'; readonly problem: Problem };

/** Keeps an entry and sends it. @throws {Error} where this browser cannot keep it: then it was not sent either */
export async function send<T>(entry: Omit<Waiting, 'savedAt' | 'refused'>): Promise<Sent<T>> {
  const kept: Waiting = { ...entry, savedAt: serviceNow(), refused: null };
  keep(kept);
  return attempt<T>(kept);
}

/** Too busy, or not able just now: the entry waits as if nobody had answered. */
const isPassing = ({ status }: Problem): boolean => status >= 500 || status === 429;

/** Keys of what was sent and is not answered for yet. */
const underWay = new Set<string>();

async function attempt<T>(entry: Waiting): Promise<Sent<T>> {
  underWay.add(entry.id);
  try {
    const reply = await post<T>(entry.path, entry.body);
    if (reply.ok) {
      letGo(entry.id);
      return { state: 'recorded', receipt: reply.body };
    }
    if (isPassing(reply.problem)) return { state: 'waiting' };
    keep({ ...entry, refused: reply.problem });
    return { state: 'refused', problem: reply.problem };
  } catch (error) {
    if (error instanceof NoAnswer) return { state: 'waiting' };
    throw error;
  } finally {
    underWay.delete(entry.id);
  }
}

let isSending = false;

/** One at a time, oldest first, so that they arrive as they were charted; the first that gets no answer ends the round. */
async function sendWaiting(tell: (words: string) => void): Promise<void> {
  if (isSending) return;
  isSending = true;
  try {
    for (const entry of waiting()) {
      if (entry.refused !== null || underWay.has(entry.id)) continue;
      const sent = await attempt(entry);
      if (sent.state === 'waiting') return;
      if (sent.state === 'recorded') tell(`Sent: ${entry.words}.`);
    }
  } finally {
    isSending = false;
  }
}

/** Sends what waits whenever there is hope. @param tell what was sent, in words */
export function keepSending(tell: (words: string) => void): void {
  addEventListener('online', () => void sendWaiting(tell));
  addEventListener('storage', ({ key }) => {
    if (key === null || key.startsWith(PREFIX)) changed();
  });
  setInterval(() => {
    if (waiting().length > 0) void sendWaiting(tell);
  }, AGAIN_MS);
  void sendWaiting(tell);
}
