/** What is being typed, kept in this browser until it is saved, so that a page that closes loses nothing. */
import { type Json, writeJson } from './exact.ts';
import type { Content } from './field-set.ts';

const keyOf = (drain: string, kind: string): string => `draft ${drain} ${kind}`;

/** Fields that are never empty say nothing of whether something was typed. */
const isTyped = (content: Readonly<Record<string, Json>>): boolean =>
  Object.keys(content).some((key) => key !== 'effective_at');

export function keepDraft(drain: string, kind: string, content: Readonly<Record<string, Json>>): void {
  try {
    if (isTyped(content)) localStorage.setItem(keyOf(drain, kind), writeJson(content));
    else dropDraft(drain, kind);
  } catch {
    // The browser is full: what is typed still stands on the page.
  }
}

export function readDraft(drain: string, kind: string): Content | null {
  const text = localStorage.getItem(keyOf(drain, kind));
  return text === null ? null : (JSON.parse(text) as Content);
}

export const dropDraft = (drain: string, kind: string): void => localStorage.removeItem(keyOf(drain, kind));
