/** One connection: messages in, acknowledgements out in the order of the messages, each once it is on disk. */
import type { Socket } from 'node:net';
import type { Taken } from '../take.ts';
import { createFrameReader, type FrameEvent, framed } from './frames.ts';

export interface Limits {
  readonly connections: number;
  readonly messageBytes: number;
  /** Of one connection, until it is read no further. */
  readonly underWay: number;
  /** A frame that has begun has to end within this, ms. */
  readonly frameMs: number;
  /** A connection on which nothing comes or goes is closed, ms. */
  readonly idleMs: number;
  /** How long a peer has to take its last answers when the service stops, ms. */
  readonly stopMs: number;
}

export interface ConnectionParts {
  readonly limits: Limits;
  readonly log: Log;
  take(bytes: Buffer, before: Promise<unknown>): Promise<Pick<Taken, 'acknowledgements'>>;
  /** What is said of a message that is too long, by its beginning. */
  refuse(beginning: Buffer): Pick<Taken, 'acknowledgements'>;
}

export interface Log {
  info(facts: object, message: string): void;
  warn(facts: object, message: string): void;
  error(facts: object, message: string): void;
}

export interface Connection {
  /** Reads no more, answers what was read, and closes. */
  stop(): Promise<void>;
}

export function serve(socket: Socket, parts: ConnectionParts): Connection {
  const { limits, log } = parts;
  const frames = createFrameReader(limits.messageBytes);
  // Not by once(), which an error of the socket would fail.
  const gone = new Promise<void>((resolve) => socket.once('close', () => resolve()));
  const answers = answersTo(socket, gone, parts);
  let late: NodeJS.Timeout | undefined;

  function onEvent(event: FrameEvent): void {
    if (event.kind === 'frame') answers.take(event.bytes);
    else if (event.kind === 'too-long') {
      log.warn({ most: limits.messageBytes }, 'mllp: a message is too long; its connection is closed');
      answers.refuse(event.beginning);
      end();
    } else log.warn({ kind: event.kind }, 'mllp: bytes that are no message were passed over');
  }

  function watchFrame(): void {
    if (!frames.isInside()) {
      clearTimeout(late);
      late = undefined;
    } else late ??= setTimeout(stalled, limits.frameMs);
  }

  function stalled(): void {
    log.warn({}, 'mllp: a message did not end in time; its connection is closed');
    socket.destroy();
  }

  function end(): Promise<void> {
    socket.off('data', onData);
    // What still comes is let go unread, so that the end of it is seen.
    socket.resume();
    clearTimeout(late);
    return answers.written().then(() => {
      socket.end();
    });
  }

  function onData(chunk: Buffer): void {
    const wasInside = frames.isInside();
    const events = frames.push(chunk);
    // The time is that of one frame: another that begins in the same chunk has its own.
    if (wasInside && events.length > 0) {
      clearTimeout(late);
      late = undefined;
    }
    for (const event of events) onEvent(event);
    watchFrame();
  }

  socket.setTimeout(limits.idleMs, () => socket.destroy());
  socket.on('error', () => undefined);
  socket.on('close', () => clearTimeout(late));
  socket.on('end', end);
  socket.on('data', onData);
  return {
    async stop() {
      const cut = setTimeout(() => socket.destroy(), limits.stopMs);
      await end();
      // A peer that keeps its side open is not waited for.
      socket.destroySoon();
      await gone;
      clearTimeout(cut);
    },
  };
}

/** Takes messages as they come, several at once, and writes what is said of them in their order. */
function answersTo(socket: Socket, gone: Promise<void>, { limits, log, take, refuse }: ConnectionParts) {
  let underWay = 0;
  let settled: Promise<unknown> = Promise.resolve();
  let written: Promise<void> = Promise.resolve();

  async function write({ acknowledgements }: Pick<Taken, 'acknowledgements'>): Promise<void> {
    for (const each of acknowledgements) {
      if (socket.destroyed) return;
      if (socket.write(framed(each))) continue;
      await Promise.race([gone, new Promise((resolve) => socket.once('drain', resolve))]);
    }
  }

  function failed(error: unknown): void {
    const frames =
      error instanceof Error ? error.stack?.split('\n').filter((line) => /^ {4}at /.test(line)) : [];
    log.error({ frames }, 'mllp: a message could not be answered; its connection is closed');
    socket.destroy();
  }

  return {
    take(bytes: Buffer): void {
      underWay += 1;
      if (underWay >= limits.underWay) socket.pause();
      const taken = take(bytes, settled);
      settled = Promise.allSettled([settled, taken]);
      const before = written;
      written = Promise.all([taken, before])
        .then(([answer]) => write(answer))
        .catch(failed)
        .then(() => {
          underWay -= 1;
          if (underWay < limits.underWay) socket.resume();
        });
    },
    refuse(beginning: Buffer): void {
      written = written.then(() => write(refuse(beginning)));
    },
    written: (): Promise<void> => written,
  };
}
