/**
 * Calls at once, and then no more often than every so many ms however often it is asked, with a last call for what came
 * meanwhile: a busy ward must not make its own pages ask for everything many times a second.
 */
export function spaced(work: () => void, everyMs: number): () => void {
  let isResting = false;
  let isDue = false;
  function run(): void {
    isDue = false;
    isResting = true;
    work();
    setTimeout(() => {
      isResting = false;
      if (isDue) run();
    }, everyMs);
  }
  return () => {
    if (isResting) isDue = true;
    else run();
  };
}
