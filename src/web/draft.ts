/** What is being typed, kept in this browser until it is saved, so that a page that closes loses nothing. */
import { type Json, writeJson } from './exact.ts';
import type { Content } from './field-set.ts';

export interface Draft {
  readonly drain: string;
  readonly kind: string;
  /** What it is about, where there may be several of a kind: an advisory, an entry. */
  readonly about: string | null;
}

/** What is typed of one thing is never shown as typed of another. */
export const draftKey = ({ drain, kind, about }: Draft): string =>
  ['draft', drain, kind, about].filter((part) => part !== null).join(' ');

/** Fields that are never empty say nothing of whether something was typed. */
const isTyped = (content: Readonly<Record<string, Json>>): boolean =>
  Object.keys(content).some((key) => key !== 'effective_at');

export function keepDraft(key: string, content: Readonly<Record<string, Json>>): void {
  try {
    if (isTyped(content)) localStorage.setItem(key, writeJson(content));
    else dropDraft(key);
  } catch {
    // The browser is full: what is typed still stands on the page.
  }
}

export function readDraft(key: string): Content | null {
  const text = localStorage.getItem(key);
  return text === null ? null : (JSON.parse(text) as Content);
}

/** Calls back when another window of this browser drops a draft: what was typed was saved there, or cleared. */
export function onDropped(key: string, left: AbortSignal, listener: () => void): void {
  const heard = (event: StorageEvent) => {
    if (event.key === key && event.newValue === null) listener();
  };
  addEventListener('storage', heard, { signal: left });
}

export const dropDraft = (key: string): void => localStorage.removeItem(key);
