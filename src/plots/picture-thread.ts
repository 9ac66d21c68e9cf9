/** The thread that turns SVG into PNG. Its font comes with the program: what a machine has installed changes no picture. */
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { type MessagePort, parentPort } from 'node:worker_threads';
import { initWasm, Resvg } from '@resvg/resvg-wasm';

export interface PictureOrder {
  readonly id: number;
  readonly svg: string;
}

export interface PictureReply {
  readonly id: number;
  readonly png: Uint8Array<ArrayBuffer>;
}

const FONT = 'Noto Sans';
/** Of the font's files, what a label may be written in; a character of another script is drawn as an empty box. */
const SCRIPTS = ['latin', 'latin-ext', 'greek', 'cyrillic', 'vietnamese'] as const;
const WEIGHTS = [400, 600] as const;

const bytesOf = (inPackage: string): Uint8Array =>
  readFileSync(fileURLToPath(import.meta.resolve(inPackage)));

async function run(port: MessagePort): Promise<void> {
  await initWasm(bytesOf('@resvg/resvg-wasm/index_bg.wasm'));
  const fontBuffers = WEIGHTS.flatMap((weight) =>
    SCRIPTS.map((script) =>
      bytesOf(`@fontsource/noto-sans/files/noto-sans-${script}-${weight}-normal.woff2`),
    ),
  );
  const font = { fontBuffers, defaultFontFamily: FONT, sansSerifFamily: FONT };

  function drawn(svg: string): Uint8Array<ArrayBuffer> {
    const drawing = new Resvg(svg, { font });
    const image = drawing.render();
    const png = new Uint8Array(image.asPng());
    // Its memory is not JavaScript's, and nothing else gives it back.
    image.free();
    drawing.free();
    return png;
  }

  // What cannot be drawn ends the thread: nobody knows what state the renderer is in then.
  port.on('message', ({ id, svg }: PictureOrder) => {
    const png = drawn(svg);
    port.postMessage({ id, png } satisfies PictureReply, [png.buffer]);
  });
}

if (parentPort !== null) await run(parentPort);
