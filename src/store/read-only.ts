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
    noteTarget: refuse,
    requeue: refuse,
    skip: refuse,
    replay: refuse,
    notice: refuse,
    access: refuse,
    checkpoint: refuse,
    keepUnmapped: refuse,
    settleUnmapped: refuse,
    check() {
      throw new StoreReadOnly(reason);
    },
    log: store.log,
    books: store.books,
    entries: store.entries,
    places: store.places,
    entriesAt: store.entriesAt,
    drains: store.drains,
    patientOf: store.patientOf,
    configurations: store.configurations,
    versions: store.versions,
    preview: store.preview,
    listen: store.listen,
    committedAfter: store.committedAfter,
    newestLogIndex: store.newestLogIndex,
    unmapped: store.unmapped,
    isUnmapped: store.isUnmapped,
    unmappedCount: store.unmappedCount,
    ...deliveryReads(store),
    ...deviceReads(store),
    ...keptBeside(store),
    close: store.close,
  };
}

const deviceReads = ({
  device,
  devices,
  devicesOf,
  deviceEntries,
  unmatched,
  unmatchedCount,
  routedChain,
}: Store) => ({
  device,
  devices,
  devicesOf,
  deviceEntries,
  unmatched,
  unmatchedCount,
  routedChain,
});

/** What is kept beside the ledger is no part of it. */
const keptBeside = ({ footing, sums, keptRow, keepRow }: Store) => ({ footing, sums, keptRow, keepRow });

const deliveryReads = ({ taken, deliveries, deliveryEvents, deliveryCounts, backlog }: Store) => ({
  taken,
  deliveries,
  deliveryEvents,
  deliveryCounts,
  backlog,
});
