/** What somebody might do to what an erasure left in a bundle; each gives false where there is nothing to do it to. */
import type { Bundle, BundleEntry } from './random-bundle.ts';
import { goneOf } from './random-bundle-erasure.ts';

export type Pick = (n: number) => number;
export type Done = (bundle: Bundle, pick: Pick) => boolean;

const oneOf = <T>(some: readonly T[], pick: Pick): T | undefined => some[pick(some.length)];
const isTombstone = ({ stream }: BundleEntry): boolean => stream === 'erasure';

/** One of which something was erased. */
const touched = ({ entries }: Bundle, pick: Pick): BundleEntry | undefined =>
  oneOf(
    entries.filter(({ erased }) => erased !== undefined),
    pick,
  );

function putBack({ entries, gone }: Bundle, pick: Pick): BundleEntry | undefined {
  const entry = oneOf(
    entries.filter(({ body }) => body === null),
    pick,
  );
  if (entry !== undefined) Object.assign(entry, goneOf(gone, entry).payload);
  return entry;
}

export const DONE_TO_ERASED: Readonly<Record<string, Done>> = {
  'an erased payload put back': (bundle, pick) => putBack(bundle, pick) !== undefined,
  'an erased payload put back, and no word of it': (bundle, pick) => {
    const entry = putBack(bundle, pick);
    return entry !== undefined && delete entry.erased;
  },
  'half of an erased payload put back': (bundle, pick) => {
    const entry = putBack(bundle, pick);
    return (
      entry !== undefined && Object.assign(entry, pick(2) === 0 ? { body: null } : { salt: null }) === entry
    );
  },
  'a payload taken out': ({ entries }, pick) => {
    const entry = oneOf(
      entries.filter(({ body }) => body !== null),
      pick,
    );
    return entry !== undefined && Object.assign(entry, { salt: null, body: null }) === entry;
  },
  'what tells of an erasure dropped': (bundle, pick) => {
    const entry = touched(bundle, pick);
    bundle.entries = bundle.entries.filter(({ log_index }) => log_index !== entry?.erased);
    return entry !== undefined;
  },
  'what tells of an erasure dropped, and no word of it': (bundle, pick) => {
    const entry = touched(bundle, pick);
    bundle.entries = bundle.entries.filter(({ log_index }) => log_index !== entry?.erased);
    return entry !== undefined && delete entry.erased;
  },
  'what tells of an erasure edited': ({ entries }, pick) => {
    const tombstone = oneOf(entries.filter(isTombstone), pick);
    if (tombstone?.body === undefined || tombstone.body === null) return false;
    tombstone.body = tombstone.body.replace(/"entries":\[.*?\],"kind"/, '"entries":[],"kind"');
    tombstone.body = tombstone.body.replace('"reason":"', '"reason":"x');
    return true;
  },
  'another said to tell of an erasure': ({ entries }, pick) => {
    const tombstone = oneOf(entries.filter(isTombstone), pick);
    const entry = oneOf(
      entries.filter(({ erased }) => erased !== tombstone?.log_index),
      pick,
    );
    if (tombstone === undefined || entry === undefined) return false;
    entry.erased = tombstone.log_index;
    return true;
  },
  'what is no erasure said to tell of one': ({ entries }, pick) => {
    const [entry, other] = [
      oneOf(entries, pick),
      oneOf(
        entries.filter((each) => !isTombstone(each)),
        pick,
      ),
    ];
    if (entry === undefined || other === undefined) return false;
    entry.erased = other.log_index;
    return true;
  },
  'no word of an erasure': (bundle, pick) => {
    const entry = touched(bundle, pick);
    return entry !== undefined && delete entry.erased;
  },
  'an erased text put back': (bundle, pick) => {
    const entry = touched(bundle, pick);
    const text = entry && oneOf(goneOf(bundle.gone, entry).texts, pick);
    return text !== undefined && entry?.issued.push(text) !== undefined;
  },
  'a text that an erasure left taken out': ({ entries }, pick) =>
    oneOf(
      entries.filter(({ erased, issued }) => erased !== undefined && issued.length > 0),
      pick,
    )?.issued.pop() !== undefined,
  'an erased step put back': ({ entries, gone }, pick) => {
    const entry = oneOf(
      entries.filter((each) => goneOf(gone, each).steps.length > 0),
      pick,
    );
    const found = entry && oneOf(goneOf(gone, entry).steps, pick);
    // Of a drain, nothing tells of steps of others that were erased: none is due, and none of them is shown.
    if (found === undefined || !entries.some(({ log_index }) => log_index === found.by)) return false;
    entry?.steps?.push(found.step);
    entry?.steps?.sort((a, b) => a.event - b.event);
    return true;
  },
};
