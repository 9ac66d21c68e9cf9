/** Shows how far a long command is: on a terminal only. */
export function progress(): (done: number, total: number) => void {
  if (process.stderr.isTTY !== true) return () => {};
  return (done, total) => {
    process.stderr.write(`\r${done} of ${total} entries${done === total ? '\n' : ''}`);
  };
}
