/** How large the heap of the process grows. */
import { setFlagsFromString } from 'node:v8';

/**
 * Has the heap collected once it has grown by what lives in it, and the emptiest pages, those that hold 6 MB of what
 * lives, emptied each time.
 *
 * Left alone, V8 lets a heap whose limit is 2 GB or more grow to four times of what lived at the last collection, and
 * empties hardly any page: rows of books that leave one by one keep theirs, so that memory goes on growing for hours while
 * what lives in it does not. To have all pages emptied at once stops all else for up to 0.7 s. The limit itself stays what
 * Node makes of the machine or the container: a book that is read whole may need it for a moment. Node 20, 22 and 24 know
 * both flags; whether they still do that is tested.
 */
export function keepHeapSmall(): void {
  setFlagsFromString('--heap-growing-percent=100');
  setFlagsFromString('--optimize-for-size');
}
