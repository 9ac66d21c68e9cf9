/** Shows how far a long command is: on a terminal only. */
export function progress(what = 'entries'): (done: number, total: number) => void {
  if (process.stderr.isTTY !== true) return () => {};
  return (done, total) => {
    process.stderr.write(`\r${done} of ${total} ${what}${done === total ? '\n' : ''}`);
  };
}
