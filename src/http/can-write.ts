import type { Parts } from './parts.ts';

/** Whether the store takes anything now. */
export function canWrite(store: Parts['store']): boolean {
  try {
    store.check();
    return true;
  } catch {
    return false;
  }
}
