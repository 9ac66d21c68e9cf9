import { type Store, StoreReadOnly } from './port.ts';

/** A store that takes nothing, and says why. Each method is named here, so that no new one writes unnoticed. */
export function readOnly(store: Store, reason: string): Store {
  const refuse = (): Promise<never> => Promise.reject(new StoreReadOnly(reason));
  return {
    append: refuse,
    configure: refuse,
    claim: refuse,
    settle: refuse,
    notice: refuse,
    checkpoint: refuse,
    check() {
      throw new StoreReadOnly(reason);
    },
    log: store.log,
    books: store.books,
    entries: store.entries,
    drains: store.drains,
    configurations: store.configurations,
    versions: store.versions,
    deliveryCounts: store.deliveryCounts,
    close: store.close,
  };
}
