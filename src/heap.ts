/** How large the heap of the process grows. */
import {
  constants,
  type NodeGCPerformanceDetail,
  type PerformanceEntry,
  PerformanceObserver,
} from 'node:perf_hooks';
import { getHeapStatistics, setFlagsFromString } from 'node:v8';

/** What lives is moved together once the heap is so many times as large: that stops all else for a tenth of a second and more. */
const TIMES_WHAT_LIVES = 2.5;

/**
 * Has the heap collected once it has grown by what lives in it, and moved together where it is much larger still.
 *
 * Left alone, V8 lets a heap whose limit is 2 GB or more grow to four times of what lived at the last collection, and
 * empties hardly any page: rows of books that leave one by one keep theirs, so that memory goes on growing for hours while
 * what lives in it does not. The limit itself stays what Node makes of the machine or the container: a book that is read
 * whole may need it for a moment. Node 20, 22 and 24 know both flags; whether they still do that is tested.
 */
export function keepHeapSmall(): void {
  setFlagsFromString('--heap-growing-percent=100');
  new PerformanceObserver((list) => {
    if (!list.getEntries().some(isFull)) return;
    const { total_heap_size: size, used_heap_size: living } = getHeapStatistics();
    const isSparse = size > TIMES_WHAT_LIVES * living;
    // Counts from the next full collection on.
    setFlagsFromString(isSparse ? '--compact-on-every-full-gc' : '--no-compact-on-every-full-gc');
  }).observe({ entryTypes: ['gc'] });
}

/** What the types of Node 20 leave out stands in each entry of the kind `gc`. */
const isFull = (entry: PerformanceEntry & { readonly detail?: NodeGCPerformanceDetail }): boolean =>
  entry.detail?.kind === constants.NODE_PERFORMANCE_GC_MAJOR;
