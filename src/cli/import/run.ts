/** `import FILE`: sends a file of entries to the running service, and keeps what was refused so that it can be mended. */

import { once } from 'node:events';
import { createWriteStream, existsSync, rmSync, statSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { faultText } from '../../intake/fault.ts';
import { reach } from '../api.ts';
import { print } from '../output.ts';
import { csvItems, ndjsonItems, readMapping, type Source, type Sources } from './items.ts';
import { type LineResult, postLines } from './post-lines.ts';
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
  const dryRun = values['dry-run'];
  const refusedFile = values.refused ?? `${file}.${dryRun ? 'would-be-refused' : 'refused'}`;
  // What a dry run said before is of no use after the next one.
  if (dryRun && values.refused === undefined) rmSync(refusedFile, { force: true });
  if (existsSync(refusedFile))
    throw new Error(`${refusedFile} exists: mend and send that first, or move it away`);
  const refused = createRefused(refusedFile, sources);
  const counts = await send(sources, { ...reach(values), dryRun }, refused, progress.counted);
  await refused.end();
  progress.end();
  if (counts.broken !== null) throw new Error(brokenOff(counts.broken, counts), { cause: counts.broken });
  return report(counts, { file, refusedFile, unreadable: refused.unreadable(), dryRun });
}

interface Reported {
  readonly file: string;
  readonly refusedFile: string;
  /** Lines among the refused that are not in the file of them. */
  readonly unreadable: number;
  readonly dryRun: boolean;
}

interface Where extends ReturnType<typeof reach> {
  readonly dryRun: boolean;
}

interface Refused {
  add(source: Source, why: string): void;
  /** Lines that could not be read, so that they stand in the file itself alone. */
  unreadable(): number;
  end(): Promise<void>;
}

/** The file is made with the first refusal that can be kept. */
function createRefused(file: string, sources: Sources): Refused {
  let stream: ReturnType<typeof createWriteStream> | null = null;
  let unreadable = 0;
  const keep = (original: string): void => {
    if (stream === null) {
      stream = createWriteStream(file, { flags: 'wx', mode: 0o600 });
      if (sources.header !== '') stream.write(`${sources.header}\n`);
    }
    stream.write(`${original}\n`);
  };
  return {
    add({ line, original }, why) {
      if (original === null) unreadable += 1;
      else keep(original);
      print(`${line}: ${why}`);
    },
    unreadable: () => unreadable,
    async end() {
      if (stream === null) return;
      stream.end();
      await once(stream, 'finish');
    },
  };
}

interface Sent extends Counts {
  /** Of all that was sent there is an answer. */
  readonly isWhole: boolean;
  /** What was wrong with the file itself, so that its rest was not sent; null where nothing was. */
  readonly broken: Error | null;
}

async function send(
  { items }: Sources,
  { base, who, dryRun }: Where,
  refused: Refused,
  onCount: (counts: Counts) => void,
): Promise<Sent> {
  const counts = { taken: 0, unmatched: 0, repeated: 0, refused: 0 };
  const underWay = new Map<number, Source>();
  let sent = 0;
  let broken: Error | null = null;
  const lines = async function* (): AsyncGenerator<string> {
    for await (const source of untilBroken(items, (error) => {
      broken = error;
    })) {
      if (source.json === null) {
        counts.refused += 1;
        refused.add(source, source.faults.map(faultText).join('; '));
        continue;
      }
      sent += 1;
      underWay.set(sent, source);
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
    const became = COUNTED_AS[result.status] ?? 'refused';
    counts[became] += 1;
    if (became === 'refused' && source !== undefined) refused.add(source, whyRefused(result));
    onCount(counts);
  }
  return { ...counts, isWhole, broken };
}

/** Ends where the file is broken, so that what was sent before it is answered all the same. */
async function* untilBroken(
  items: Sources['items'],
  onBroken: (error: Error) => void,
): AsyncGenerator<Source> {
  try {
    yield* items;
  } catch (error) {
    onBroken(error instanceof Error ? error : new Error(String(error)));
  }
}

/** By what a line is answered with; the others are problems. */
const COUNTED_AS: Readonly<Record<number, keyof Counts>> = {
  200: 'repeated',
  201: 'taken',
  202: 'unmatched',
};

/** The problem in its words, and the values that they are about. */
function whyRefused({ problem }: Extract<LineResult, { line: number }>): string {
  const values = (problem?.errors ?? []).flatMap(({ value }) => value ?? []);
  return `${problem?.detail ?? ''}${values.length === 0 ? '' : ` (${values.join('; ')})`}`;
}

/** Where nothing came before it there is nothing to add. */
function brokenOff({ message }: Error, { taken, unmatched, repeated, refused }: Sent): string {
  if (taken + unmatched + repeated + refused === 0) return message;
  return `${message}; ${taken + unmatched} recorded before that, ${refused} refused: mend it and import the same file again, nothing is taken twice`;
}

function report(
  { taken, unmatched, repeated, refused, isWhole }: Sent,
  { file, refusedFile, unreadable, dryRun }: Reported,
): number {
  const words = dryRun
    ? [`${repeated} would be sent on, nothing was written`]
    : [`${taken} recorded, ${repeated} were recorded before`];
  if (unmatched > 0)
    words.push(`${unmatched} kept though their device was on no drain then: see /v1/unmatched`);
  if (refused > unreadable)
    words.push(
      dryRun
        ? `${refused - unreadable} would be refused: see ${refusedFile}`
        : `${refused - unreadable} refused, kept in ${refusedFile}: mend and import that`,
    );
  if (unreadable > 0) words.push(`${unreadable} could not be read: mend them in ${file} and import it again`);
  if (!isWhole) words.push('the answer was cut: import the same file again, nothing is taken twice');
  print(`${words.join('; ')}.`);
  if (!isWhole) return 2;
  return refused > 0 ? 1 : 0;
}
