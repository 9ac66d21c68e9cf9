/** Lawful erasures in invented logs: what goes, what is left, and the words of the entry that says so. */
import { issuedCommitment } from '../../src/audit/chain.ts';
import { runsOf, writeErased } from '../../src/audit/erasure.ts';
import { type BundleEntry, below, type Random, type Step, saltBy } from './random-bundle.ts';

/** What was erased of an entry, which no bundle holds. */
export interface Gone {
  payload: { salt: string; body: string } | null;
  readonly texts: string[];
  /** With the place of what says so. */
  readonly steps: { readonly step: Step; readonly by: number }[];
}

/** By place in the log. */
export type AllGone = Map<number, Gone>;

export function goneOf(gone: AllGone, { log_index }: BundleEntry): Gone {
  const known = gone.get(log_index) ?? { payload: null, texts: [], steps: [] };
  gone.set(log_index, known);
  return known;
}

/** Erases of half of the entries some texts, and mostly the payload, and all steps of a drain. @returns the words; null where there was nothing */
export function eraseSome(random: Random, entries: readonly BundleEntry[], gone: AllGone): string | null {
  const by = entries.length;
  const touched = entries.filter(({ stream }) => /^(d\d|unmatched)$/.test(stream) && below(random, 2) === 0);
  const payloads = touched.filter((entry) => eraseOne(random, entry, by, goneOf(gone, entry)));
  const left = touched.filter((entry) => !payloads.includes(entry) || entry.issued.length > 0);
  const steps = entries.flatMap((entry) => eraseSteps(random, entry, by, gone));
  if (touched.length === 0 && steps.length === 0) return null;
  return writeErased({
    drains: ['d0'],
    entries: runsOf(payloads.map(({ log_index }) => log_index)),
    texts: left.map(({ log_index, issued }) => {
      const salt = saltBy(random);
      return { entry: log_index, salt: salt.toString('hex'), issued: issuedCommitment(salt, issued) };
    }),
    steps: runsOf(steps),
    reason: 'ü',
  });
}

/** @returns whether its payload is gone */
function eraseOne(random: Random, entry: BundleEntry, by: number, was: Gone): boolean {
  const { salt, body } = entry;
  const goes = entry.issued.filter(() => below(random, 2) === 0);
  was.texts.push(...goes);
  entry.issued = entry.issued.filter((text) => !goes.includes(text));
  entry.erased = by;
  if (salt === null || body === null) return true;
  // Where no text goes, the payload does.
  if (goes.length > 0 && below(random, 3) === 0) return false;
  was.payload = { salt, body };
  [entry.salt, entry.body] = [null, null];
  return true;
}

/** @returns numbers of those that went */
function eraseSteps(random: Random, entry: BundleEntry, by: number, gone: AllGone): number[] {
  const { steps = [] } = entry;
  const drain = `"d${below(random, 3)}"`;
  const goes = steps.filter(({ text }) => text.includes(drain));
  if (goes.length === 0) return [];
  entry.steps = steps.filter((step) => !goes.includes(step));
  goneOf(gone, entry).steps.push(...goes.map((step) => ({ step, by })));
  return goes.map(({ event }) => event);
}

/** Whether it says anything of these entries. @param events also of these steps */
export function tellsOf(tombstone: BundleEntry, entries: readonly BundleEntry[], events: boolean): boolean {
  type Runs = readonly (readonly [number, number])[];
  const said = JSON.parse(tombstone.body ?? '') as {
    readonly entries: Runs;
    readonly steps: Runs;
    readonly texts: readonly { readonly entry: number }[];
  };
  const isIn = (runs: Runs, n: number): boolean => runs.some(([first, last]) => first <= n && n <= last);
  return entries.some(({ log_index, stream, body }) => {
    if (isIn(said.entries, log_index) || said.texts.some(({ entry }) => entry === log_index)) return true;
    if (!events || stream !== 'delivery') return false;
    const { first, hashes } = JSON.parse(body ?? '') as { first: number; hashes: string[] };
    return hashes.some((_, n) => isIn(said.steps, first + n));
  });
}
