/** Keeps the page up to date while it is looked at, and says so when it cannot. */
import { listenOnce } from './api.ts';
import { spaced } from './spaced.ts';

const AGAIN_MS = 2000;
const BETWEEN_MS = 1000;
/** The service gives a sign of life every 15 s. */
const SILENT_MS = 40_000;

export interface Watching {
  stop(): void;
}

export interface Watcher {
  /** Something was charted, or may have been. */
  changed(): void;
  /** @param isConnected whether what is shown is kept up to date */
  connected(isConnected: boolean): void;
}

/** Listens until it is stopped, again and again. */
export function watch(path: string, { changed, connected }: Watcher): Watching {
  const stopped = new AbortController();
  const tellChanged = spaced(() => {
    if (!stopped.signal.aborted) changed();
  }, BETWEEN_MS);
  let lastId: string | null = null;

  async function once(): Promise<void> {
    const silence = new AbortController();
    const lost = () => silence.abort();
    let timer = setTimeout(lost, SILENT_MS);
    // A stream over a network that went away would be silent for a while before anybody noticed.
    addEventListener('offline', lost, { once: true });
    const signal = AbortSignal.any([stopped.signal, silence.signal]);
    try {
      await listenOnce(
        path,
        lastId,
        (event) => {
          clearTimeout(timer);
          timer = setTimeout(lost, SILENT_MS);
          if (event === null) return;
          lastId = event.id;
          connected(true);
          if (event.name !== 'now') tellChanged();
        },
        signal,
      );
    } finally {
      clearTimeout(timer);
      removeEventListener('offline', lost);
    }
  }

  async function forEver(): Promise<void> {
    while (!stopped.signal.aborted) {
      await once().catch(() => undefined);
      if (stopped.signal.aborted) return;
      connected(false);
      await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
    }
  }

  void forEver();
  return { stop: () => stopped.abort() };
}
