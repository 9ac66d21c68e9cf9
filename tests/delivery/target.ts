import type { Target } from '../../src/delivery/target.ts';

export function targetOf(more: Partial<Target>): Target {
  return {
    name: 'ehr',
    baseUrl: 'http://127.0.0.1/fhir',
    mode: 'transaction',
    facts: null,
    words: new Map(),
    profile: 'base',
    types: null,
    patient: 'as-given',
    encounter: 'as-given',
    timeoutMs: 10_000,
    requestCeilingMs: 30_000,
    backoff: { baseMs: 500, capMs: 900_000 },
    giveUpMs: 72 * 3_600_000,
    reviewMs: 24 * 3_600_000,
    mostAtOnce: 8,
    mostInBundle: 100,
    ...more,
  };
}
