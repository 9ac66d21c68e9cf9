/** `import FILE`: sends a file of entries to the running service, and keeps what was refused so that it can be mended. */

import { once } from 'node:events';
import { createWriteStream, existsSync, statSync } from 'node:fs';
import { parseArgs } from 'node:util';
import type { Fault } from '../../intake/fault.ts';
import { reach } from '../api.ts';
import { csvItems, ndjsonItems, readMapping, type Source, type Sources } from './items.ts';
import { postLines } from './post-lines.ts';
import { type Counts, createProgress } from './progress.ts';

/** @returns the exit code: 0 all taken, 1 some refused, 2 the answer was cut; null where the call is not understood */
export async function runImport(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({
    args: [...args],
    allowPositionals: true,
    options: {
      url: { type: 'string' },
      'token-file': { type: 'string' },
      mapping: { type: 'string' },
      refused: { type: 'string' },
      'dry-run': { type: 'boolean', default: false },
    },
  });
  const [file, ...more] = positionals;
  if (file === undefined || more.length > 0) return null;
  if (/\.csv$/i.test(file) && values.mapping === undefined)
    throw new Error(
      `${file} is CSV by its name: say what its columns mean with --mapping FILE, or rename it`,
    );
  const progress = createProgress(statSync(file).size, process.stderr);
  const sources =
    values.mapping === undefined
      ? ndjsonItems(file, progress.read)
      : csvItems(file, readMapping(values.mapping), progress.read);
  const refusedFile = values.refused ?? `${file}.refused`;
  if (existsSync(refusedFile))
    throw new Error(`${refusedFile} exists: mend and send that first, or move it away`);
  const refused = createRefused(refusedFile, sources);
  const counts = await send(
    sources,
    { ...reach(values), dryRun: values['dry-run'] },
    refused,
    progress.counted,
  );
  await refused.end();
  progress.end();
  return report(counts, refusedFile, values['dry-run']);
}

interface Where extends ReturnType<typeof reach> {
  readonly dryRun: boolean;
}

interface Refused {
  add(source: Source, why: string): void;
  end(): Promise<void>;
}

/** The file is made with the first refusal. */
function createRefused(file: string, sources: Sources): Refused {
  let stream: ReturnType<typeof createWriteStream> | null = null;
  return {
    add({ original }, why) {
      if (stream === null) {
        stream = createWriteStream(file, { flags: 'wx' });
        if (sources.header !== '') stream.write(`${sources.header}\n`);
      }
      stream.write(`${original}\n`);
      process.stdout.write(`${why}\n`);
    },
    async end() {
      if (stream === null) return;
      stream.end();
      await once(stream, 'finish');
    },
  };
}

async function send(
  { items }: Sources,
  { base, who, dryRun }: Where,
  refused: Refused,
  onCount: (counts: Counts) => void,
): Promise<Counts & { readonly isWhole: boolean }> {
  const counts = { taken: 0, repeated: 0, refused: 0 };
  const underWay = new Map<number, Source>();
  let line = 0;
  const lines = async function* (): AsyncGenerator<string> {
    for await (const source of items) {
      if (source.json === null) {
        counts.refused += 1;
        refused.add(source, source.faults.map(faultText).join('; '));
        continue;
      }
      line += 1;
      underWay.set(line, source);
      yield `${source.json}\n`;
    }
  };
  const path = `/v1/entries/lines${dryRun ? '?dry-run=true' : ''}`;
  let isWhole = false;
  for await (const result of postLines(`${base}${path}`, who, lines())) {
    if (!('line' in result)) {
      isWhole = true;
      continue;
    }
    const source = underWay.get(result.line);
    underWay.delete(result.line);
    if (result.status === 201) counts.taken += 1;
    else if (result.status === 200) counts.repeated += 1;
    else {
      counts.refused += 1;
      if (source !== undefined) refused.add(source, `${result.line}: ${result.problem?.detail ?? ''}`);
    }
    onCount(counts);
  }
  return { ...counts, isWhole };
}

const faultText = ({ pointer, value, detail, mend }: Fault): string =>
  `${pointer}${value === undefined ? '' : ` ${value}`} ${detail}: ${mend}`;

function report(
  { taken, repeated, refused, isWhole }: Counts & { readonly isWhole: boolean },
  file: string,
  dryRun: boolean,
): number {
  const words = dryRun
    ? [`${repeated} would be sent on, nothing was written`]
    : [`${taken} recorded, ${repeated} were recorded before`];
  if (refused > 0) words.push(`${refused} refused, kept in ${file}: mend and import that`);
  if (!isWhole) words.push('the answer was cut: import the same file again, nothing is taken twice');
  process.stdout.write(`${words.join('; ')}.\n`);
  if (!isWhole) return 2;
  return refused > 0 ? 1 : 0;
}
