import { type Store, StoreReadOnly } from './port.ts';

/** A store that takes nothing, and says why. Each method is named here, so that no new one writes unnoticed. */
export function readOnly(store: Store, reason: string): Store {
  const refuse = (): Promise<never> => Promise.reject(new StoreReadOnly(reason));
  return {
    append: refuse,
    configure: refuse,
    claim: refuse,
    extend: refuse,
    settle: refuse,
    rebaseWaits: refuse,
    noteServed: refuse,
    noteTarget: refuse,
    requeue: refuse,
    skip: refuse,
    replay: refuse,
    notice: refuse,
    archived: refuse,
    erase: refuse,
    heartbeat: refuse,
    access: refuse,
    checkpoint: refuse,
    cosign: refuse,
    keepUnmapped: refuse,
    settleUnmapped: refuse,
    check() {
      throw new StoreReadOnly(reason);
    },
    ...readsOf(store),
    close: store.close,
  };
}

/** What is kept beside the ledger (keepRow) is no part of it. */
const READS = [
  'log',
  'books',
  'recentBooks',
  'isRecorded',
  'erasureOf',
  'entries',
  'places',
  'entriesAt',
  'drains',
  'patientOf',
  'durablePatientOf',
  'configurations',
  'versions',
  'preview',
  'listen',
  'committedAfter',
  'newestLogIndex',
  'unmapped',
  'isUnmapped',
  'unmappedCount',
  'taken',
  'standsElsewhere',
  'deliveries',
  'deliveryEvents',
  'deliveryCounts',
  'backlog',
  'device',
  'devices',
  'devicesOf',
  'deviceEntries',
  'unmatched',
  'unmatchedCount',
  'routedChain',
  'footing',
  'sums',
  'sumsOfWeeks',
  'siblings',
  'keptRow',
  'keepRow',
] as const satisfies readonly (keyof Store)[];

const readsOf = (store: Store) =>
  Object.fromEntries(READS.map((name) => [name, store[name]])) as Pick<Store, (typeof READS)[number]>;
