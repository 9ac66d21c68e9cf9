/** A script of the bench as a process of its own, which prints its URL once it listens. */
import { spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { memoryOf } from './measure.ts';

export interface Running {
  readonly url: string;
  /** Processor time it has used, µs. */
  cpu(): number;
  /** Memory that it holds, MB (10^6 bytes). */
  residentMb(): number;
  /** Does nothing where it has ended already. */
  stop(): Promise<void>;
}

export async function startScript(script: string, args: readonly string[]): Promise<Running> {
  const path = fileURLToPath(new URL(script, import.meta.url));
  const child = spawn(process.execPath, [path, ...args], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const url = await new Promise<string>((resolve, reject) => {
    child.stdout.once('data', (line: Buffer) => resolve(line.toString().trim()));
    child.once('exit', (code) => reject(new Error(`${script} ended with ${code}`)));
  });
  return {
    url,
    cpu: () => processorTime(child.pid ?? 0),
    residentMb: () => memoryOf(child.pid ?? 0, 'VmRSS') / 1e6,
    stop: () =>
      new Promise((resolve) => {
        if (child.exitCode !== null || child.signalCode !== null) return resolve();
        child.removeAllListeners('exit').once('exit', () => resolve());
        child.kill('SIGTERM');
      }),
  };
}

/** User and system time of a process from /proc, which counts in ticks of 10 ms. */
function processorTime(pid: number): number {
  const fields = readFileSync(`/proc/${pid}/stat`, 'utf8').split(') ')[1]?.split(' ') ?? [];
  return (Number(fields[11]) + Number(fields[12])) * 10_000;
}
