/** Targets that are no longer configured, though deliveries wait for them: nothing sends those until they are configured again. */
import type { Store } from '../store/port.ts';

export type LeftTarget = { readonly target: string } & ReturnType<Store['backlog']>;

export function leftTargets(
  store: Pick<Store, 'deliveryCounts' | 'backlog'>,
  configured: readonly string[],
): readonly LeftTarget[] {
  const known = new Set(store.deliveryCounts().map(({ target }) => target));
  return [...known]
    .filter((target) => !configured.includes(target))
    .map((target) => ({ target, ...store.backlog(target) }))
    .filter(({ depth }) => depth > 0);
}
