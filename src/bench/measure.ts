/** How long something took and what it cost, measured alike by all that compare such figures. */
import { readFileSync } from 'node:fs';

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

/**
 * Memory of a process, from /proc: what a parent held is not counted, as it would be by getrusage.
 * @param field resident now, or at its peak @returns bytes
 */
export function memoryOf(pid: number, field: 'VmRSS' | 'VmHWM'): number {
  const status = readFileSync(`/proc/${pid}/status`, 'utf8');
  const [, kibibytes] = new RegExp(`^${field}:\\s+(\\d+) kB$`, 'm').exec(status) ?? [];
  return Number(kibibytes) * 1024;
}
