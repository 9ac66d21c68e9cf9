/** A table that scrolls by itself where it is wider than the screen, by touch and by key. */
import { type Child, h } from './dom.ts';

/** @param label what it is called where nothing is seen; @param caption what stands above it, if anything */
export const tableView = (
  label: string,
  caption: string | null,
  heads: readonly Child[],
  rows: readonly HTMLElement[],
): HTMLElement =>
  h(
    'div',
    { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': label },
    h(
      'table',
      {},
      caption !== null && h('caption', {}, caption),
      h(
        'thead',
        {},
        h(
          'tr',
          {},
          heads.map((head) => h('th', { scope: 'col' }, head)),
        ),
      ),
      h('tbody', {}, rows),
    ),
  );
