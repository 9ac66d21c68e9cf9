/** Runs it when nothing else of this key runs any more. */
export type Turns = <T>(key: string, run: () => Promise<T>) => Promise<T>;

/** One after the other for each key: what two drains share must not be created by both at once. */
export function createTurns(): Turns {
  const last = new Map<string, Promise<unknown>>();
  return (key, run) => {
    const mine = (last.get(key) ?? Promise.resolve()).then(run);
    const settled = mine
      .catch(() => undefined)
      .finally(() => {
        if (last.get(key) === settled) last.delete(key);
      });
    last.set(key, settled);
    return mine;
  };
}
