/** How long something took and what it cost, measured alike by all that compare such figures. */

/** @param fraction of the values that lie below it */
export function quantile(values: readonly number[], fraction: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length * fraction)] ?? Number.NaN;
}

export const median = (values: readonly number[]): number => quantile(values, 0.5);

/** Processor time of this process from now until it is asked, µs: what else runs on the machine changes it less. */
export function processorTimeFromNow(): () => number {
  const before = process.cpuUsage();
  return () => {
    const { user, system } = process.cpuUsage(before);
    return user + system;
  };
}
