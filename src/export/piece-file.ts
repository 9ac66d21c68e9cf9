/** A new file for its owner's eyes only that is written in large pieces: a call for each line costs more than the line. */
import { closeSync, fsyncSync, openSync, writeFileSync } from 'node:fs';

export interface PieceFile {
  add(text: string): void;
  /** Makes all of it durable. */
  finish(): void;
  /** Lets go of it as it is, after a failure. */
  abandon(): void;
}

const PIECE_BYTES = 256 * 1024;
/** What a UTF-16 code unit takes at most in UTF-8. */
const MOST_BYTES_OF_A_UNIT = 3;

/** @param onPiece told of all bytes in their order, before they are written; they are good until it returns */
export function openPieceFile(path: string, onPiece: (bytes: Buffer) => void = () => {}): PieceFile {
  const fd = openSync(path, 'wx', 0o600);
  const piece = Buffer.allocUnsafe(PIECE_BYTES);
  let used = 0;

  function put(bytes: Buffer): void {
    onPiece(bytes);
    // To a descriptor it goes on where it is, and writes all or throws.
    writeFileSync(fd, bytes);
  }
  function flush(): void {
    if (used > 0) put(piece.subarray(0, used));
    used = 0;
  }

  return {
    add(text) {
      const most = MOST_BYTES_OF_A_UNIT * text.length;
      if (used + most > PIECE_BYTES) flush();
      if (most > PIECE_BYTES) put(Buffer.from(text));
      else used += piece.write(text, used);
    },
    finish() {
      flush();
      fsyncSync(fd);
      closeSync(fd);
    },
    abandon: () => closeSync(fd),
  };
}
