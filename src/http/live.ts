/**
 * Server-sent events (WHATWG HTML, 9.2): each entry that becomes durable, in the order of the ledger. An event says that
 * something was charted, and where; what it was is asked for. Its id is its place in the ledger, so a reader that comes
 * back with Last-Event-ID is told what it missed.
 */
import type { ServerResponse } from 'node:http';
import type { Committed, Store } from '../store/port.ts';

export interface Live {
  /**
   * Begins a stream on a response that is ours alone from now on.
   * @param isWanted whether an entry is told
   * @param after place of the last entry the reader knows; null: only what comes
   */
  begin(response: ServerResponse, isWanted: IsWanted, after: number | null): void;
  /** Whether there are as many readers as there may be. */
  isFull(): boolean;
  close(): void;
}

/** @param concerns its drain and all that it concerns; null: it was missed, and what it concerned is not kept */
export type IsWanted = (entry: Committed, concerns: readonly string[] | null) => boolean;

export interface LiveLimits {
  readonly mostReaders: number;
  /** More than this unread, and the reader is let go: it comes back and is told what it missed. */
  readonly mostUnreadBytes: number;
  /** More missed than this is not told one by one: the reader asks anew for what it shows. */
  readonly mostMissed: number;
  /**
   * A sign of life, so that neither side takes a quiet ward for a lost connection. It is an event, as scripts in a browser
   * see no comments, and moves the reader's place on: a quiet drain's would fall behind what can be told one by one.
   */
  readonly beatMs: number;
  /** Then it ends, so that who listens is asked again whether it still may. */
  readonly longestMs: number;
}

export const LIVE_LIMITS: LiveLimits = {
  mostReaders: 500,
  mostUnreadBytes: 64 * 1024,
  mostMissed: 1000,
  beatMs: 15_000,
  longestMs: 15 * 60_000,
};

const RETRY_MS = 2000;
const HEADERS = {
  'content-type': 'text/event-stream; charset=utf-8',
  'cache-control': 'no-store, no-transform',
  'x-accel-buffering': 'no',
  connection: 'keep-alive',
};

interface Reader {
  readonly response: ServerResponse;
  readonly isWanted: IsWanted;
  readonly endsMs: number;
}

type Feed = Pick<Store, 'listen' | 'committedAfter' | 'newestLogIndex'>;

export function createLive(store: Feed, limits: LiveLimits = LIVE_LIMITS): Live {
  const readers = new Set<Reader>();
  let stopListening: (() => void) | null = null;
  let beat: NodeJS.Timeout | null = null;

  function tell(reader: Reader, text: string): void {
    reader.response.write(text);
    if (reader.response.writableLength > limits.mostUnreadBytes) reader.response.destroy();
  }

  function start(): void {
    stopListening ??= store.listen((entry, concerns) => {
      for (const reader of readers) if (reader.isWanted(entry, concerns)) tell(reader, entryText(entry));
    });
    beat ??= setInterval(() => {
      const now = eventText(store.newestLogIndex(), 'now', {});
      for (const reader of readers) {
        if (Date.now() >= reader.endsMs) reader.response.end();
        else tell(reader, now);
      }
    }, limits.beatMs).unref();
  }

  function stop(): void {
    stopListening?.();
    stopListening = null;
    clearInterval(beat ?? undefined);
    beat = null;
  }

  return {
    begin(response, isWanted, after) {
      const reader = { response, isWanted, endsMs: Date.now() + limits.longestMs };
      readers.add(reader);
      response.once('close', () => {
        readers.delete(reader);
        if (readers.size === 0) stop();
      });
      response.writeHead(200, HEADERS);
      // Nothing is committed in between: all of this is one turn of the event loop.
      tell(reader, `retry: ${RETRY_MS}\n\n${missedText(store, isWanted, after, limits.mostMissed)}`);
      start();
    },
    isFull: () => readers.size >= limits.mostReaders,
    close() {
      for (const { response } of readers) response.end();
      stop();
    },
  };
}

/** What was missed; ends with an event that says where the reader now stands. */
function missedText(store: Feed, isWanted: IsWanted, after: number | null, most: number): string {
  const newest = store.newestLogIndex();
  const now = eventText(newest, 'now', {});
  if (after === null) return now;
  const missed = store.committedAfter(after, most + 1);
  // A place that the ledger never reached is one of another ledger.
  if (missed.length > most || after > newest) return eventText(newest, 'reset', {});
  const wanted = missed.filter((entry) => isWanted(entry, null));
  return `${wanted.map(entryText).join('')}${now}`;
}

function entryText({ logIndex, drain, seq, kind, recordedAt }: Committed): string {
  return eventText(logIndex, 'entry', { drain, sequence: seq, kind, recorded_at: recordedAt });
}

const eventText = (id: number, event: string, data: object): string =>
  `id: ${id}\nevent: ${event}\ndata: ${JSON.stringify(data)}\n\n`;
