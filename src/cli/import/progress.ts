export interface Counts {
  readonly taken: number;
  /** Kept, though their device was on no drain. */
  readonly unmatched: number;
  readonly repeated: number;
  readonly refused: number;
}

export interface Progress {
  /** Bytes of the file so far. */
  read(bytes: number): void;
  counted(counts: Counts): void;
  end(): void;
}

const EVERY_MS = 200;
const WIDTH = 30;

/** A bar that is drawn again in place; nothing where no terminal looks on. */
export function createProgress(size: number, terminal: NodeJS.WriteStream): Progress {
  let bytes = 0;
  let counts: Counts = { taken: 0, unmatched: 0, repeated: 0, refused: 0 };
  let drawnMs = 0;
  const draw = (): void => {
    if (!terminal.isTTY || performance.now() - drawnMs < EVERY_MS) return;
    drawnMs = performance.now();
    const part = size === 0 ? 1 : bytes / size;
    const bar = '█'.repeat(Math.round(WIDTH * part)).padEnd(WIDTH, '░');
    const { taken, unmatched, repeated, refused } = counts;
    const told = `${taken} recorded, ${unmatched} unmatched, ${repeated} before, ${refused} refused`;
    terminal.write(`\r${bar} ${Math.floor(100 * part)} % read, ${told}`);
  };
  return {
    read(now) {
      bytes = now;
      draw();
    },
    counted(now) {
      counts = { ...now };
      draw();
    },
    end() {
      drawnMs = 0;
      draw();
      if (terminal.isTTY) terminal.write('\n');
    },
  };
}
