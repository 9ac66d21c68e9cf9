import { type DeviceReads, type Store, StoreReadOnly } from './port.ts';

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
    taken: store.taken,
    deliveries: store.deliveries,
    deliveryEvents: store.deliveryEvents,
    deliveryCounts: store.deliveryCounts,
    backlog: store.backlog,
    ...deviceReads(store),
    close: store.close,
  };
}

const deviceReads = (store: Store): DeviceReads => ({
  device: store.device,
  devices: store.devices,
  devicesOf: store.devicesOf,
  deviceEntries: store.deviceEntries,
  unmatched: store.unmatched,
  unmatchedCount: store.unmatchedCount,
});
