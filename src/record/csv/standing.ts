/** How the entries of a drain stand to each other at one moment, whatever is charted afterwards. */
import { readStreamBody } from '../../audit/entry-text.ts';
import { type Book, chainOf } from '../../domain/book/book.ts';
import { type DeviceBook, msOf, UNKNOWN_DEVICE } from '../../domain/devices/device.ts';
import { drainAt } from '../../domain/devices/device-whereabouts.ts';
import type { Chain } from '../../domain/fold/chains.ts';
import { rowsFrom } from '../../domain/fold/chart.ts';
import type { Row } from '../../domain/fold/row.ts';
import { epochMs } from '../../domain/numbers/units.ts';
import type { Identifier } from '../../domain/vocabulary/entry.ts';
import type { StreamBody } from '../../domain/vocabulary/rerouted.ts';
import { type EntryPlace, INTERIM, type SentEntry, type Store } from '../../store/port.ts';
import { nameOf } from '../names.ts';

/** What became of an entry. The words are those of the column `status`. */
export type Status =
  | 'charted'
  | 'correction'
  | 'corrected'
  | 'superseded'
  | 'withdrawn'
  | 'withdrawal'
  | 'interim'
  | 'elsewhere'
  | 'rerouting';

export interface Standing {
  readonly status: Status;
  /** The entry that corrected or withdrew it. */
  readonly changedBy: string | null;
  /** The drain that it counts for, or {@link ANOTHER}; null: none. */
  readonly countsFor: string | null;
  /** The chain of the entry, where it is one that counts for the drain. */
  readonly chain: Chain | undefined;
  /** What follows from the chain: under its first entry, while it stands. */
  readonly row: Row | undefined;
}

export interface DrainMoment {
  readonly places: readonly EntryPlace[];
  /** What an entry says. Most are the first of their chain, and the book has read those already. */
  bodyOf(entry: SentEntry): StreamBody;
  standingOf(entry: SentEntry, body: StreamBody): Standing;
}

/** Stands for a drain that whoever asks may not be told of. */
const ANOTHER = 'another drain';

/**
 * Takes what it needs of a book at once: the book goes on with the next entry.
 * @param isSeen whether another drain may be named to whoever asks
 */
export function momentOf(
  store: Pick<Store, 'places' | 'entriesAt' | 'device' | 'devicesOf'>,
  book: Book,
  isSeen: (drain: string) => boolean,
): DrainMoment {
  const places = store.places(book.drain);
  const then = { ...book, chains: new Map(book.chains), members: new Map(book.members) };
  const rows = new Map(rowsFrom(book.chart, epochMs(-Infinity)).map((row) => [row.item.id, row]));
  const told = (drain: string | null) =>
    drain === null || drain === book.drain || isSeen(drain) ? drain : ANOTHER;
  const countsFor = new Map(places.map((place) => [place.logIndex, told(place.countsFor)]));
  const correctedBy = correctionsAmong(store, places);
  const devices = new Map(store.devicesOf(book.drain).map((name) => [name, store.device(name)]));
  return {
    places,
    bodyOf: ({ entryId, body }) => then.chains.get(entryId)?.first.body ?? readStreamBody(body),
    standingOf(entry, body) {
      const own = countsFor.get(entry.logIndex) ?? null;
      if (entry.type === INTERIM) {
        const drain = readOn(entry, body, devices, book.drain);
        return drain === book.drain ? outside('interim', own) : outside('elsewhere', told(drain));
      }
      if (body.kind === 'rerouted') return outside('rerouting', own);
      const chain = own === book.drain ? chainOf(then, body.identifier) : undefined;
      if (chain === undefined) return outside('elsewhere', own);
      const { status, changedBy } = statusIn(chain, entry, correctedBy.get(keyOf(body.identifier)) ?? null);
      const row = chain.first.id === entry.entryId ? rows.get(entry.entryId) : undefined;
      return { status, changedBy, countsFor: own, chain, row };
    },
  };
}

/**
 * The drain that an interim reading turned out to be of: that of its device, null where it was on none; the drain it was sent
 * for where it names no device. No index knows of interim readings: nothing follows from them, wherever they belong.
 */
function readOn(
  { recordedAt }: SentEntry,
  body: StreamBody,
  devices: ReadonlyMap<string, DeviceBook | undefined>,
  sentFor: string,
): string | null {
  if (body.kind === 'rerouted' || body.device === undefined) return sentFor;
  const whereabouts = devices.get(nameOf(body.device)) ?? UNKNOWN_DEVICE;
  const times = { charted: msOf(body.effective_at), receivedMs: msOf(recordedAt) };
  return drainAt(whereabouts, { ...times, by: body.author.type });
}

/** Of an entry that is in no chain that counts for the drain. */
const outside = (status: Status, countsFor: string | null): Standing => ({
  status,
  changedBy: null,
  countsFor,
  chain: undefined,
  row: undefined,
});

function statusIn(chain: Chain, { entryId }: SentEntry, correctedBy: string | null) {
  const [isFirst, isEnd] = [chain.first.id === entryId, chain.end.id === entryId];
  if (chain.void)
    return isEnd
      ? ({ status: 'withdrawal', changedBy: null } as const)
      : ({ status: 'withdrawn', changedBy: correctedBy ?? chain.end.id } as const);
  if (isEnd) return { status: isFirst ? 'charted' : 'correction', changedBy: null } as const;
  return { status: isFirst ? 'corrected' : 'superseded', changedBy: correctedBy } as const;
}

const PAGE = 500;

/** By the identifier of what they correct, the entry that corrects it. */
function correctionsAmong(
  store: Pick<Store, 'entriesAt'>,
  places: readonly EntryPlace[],
): ReadonlyMap<string, string> {
  const found = new Map<string, string>();
  const indexes = places.filter(({ type }) => type === 'corrected').map(({ logIndex }) => logIndex);
  for (let next = 0; next < indexes.length; next += PAGE)
    for (const { entryId, body } of store.entriesAt(indexes.slice(next, next + PAGE))) {
      const said = readStreamBody(body);
      if (said.kind === 'corrected') found.set(keyOf(said.target), entryId);
    }
  return found;
}

const keyOf = ({ system, value }: Identifier): string => `${system}\n${value}`;
