/** Lines out of bytes, however they are cut. Source: NDJSON as of JSON text (RFC 8259) a line, LF or CRLF between. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { type Line, linesOf } from '../../src/intake/lines.ts';

async function read(parts: readonly (string | Buffer)[], most = 100): Promise<readonly Line[]> {
  const chunks = (async function* () {
    for (const part of parts) yield Buffer.from(part as string);
  })();
  const lines: Line[] = [];
  for await (const line of linesOf(chunks, most)) lines.push(line);
  return lines;
}

test.each([
  [
    'LF at the end or not',
    ['a\nb'],
    [
      [1, 'a'],
      [2, 'b'],
    ],
  ],
  [
    'LF at the end',
    ['a\nb\n'],
    [
      [1, 'a'],
      [2, 'b'],
    ],
  ],
  [
    'CRLF',
    ['a\r\nb\r\n'],
    [
      [1, 'a'],
      [2, 'b'],
    ],
  ],
  [
    'blank lines are counted',
    ['\n\na\n \nb'],
    [
      [3, 'a'],
      [5, 'b'],
    ],
  ],
  [
    'a byte order mark',
    ['\ufeffa\nb'],
    [
      [1, 'a'],
      [2, 'b'],
    ],
  ],
  ['nothing', [], []],
  ['a line of the most bytes', ['x'.repeat(100)], [[1, 'x'.repeat(100)]]],
  [
    'a longer one is passed over',
    [`${'x'.repeat(99)}`, 'yy\nb'],
    [
      [1, 'too-long'],
      [2, 'b'],
    ],
  ],
  [
    'bytes that are no UTF-8',
    [Buffer.from([0xc3, 0x28, 0x0a]), 'b'],
    [
      [1, 'not-utf-8'],
      [2, 'b'],
    ],
  ],
  ['a character cut in two', [Buffer.from([0xc3]), Buffer.from([0xa9])], [[1, 'é']]],
] as const)('%s', async (_, parts, expected) => {
  const lines = await read(parts);
  expect(lines.map((line) => [line.number, 'text' in line ? line.text : line.fault])).toEqual(expected);
});

test('where the bytes are cut makes no difference', async () => {
  const text = fc.string({ unit: fc.constantFrom('a', 'é', '\n', '\r\n', ' ', '€') });
  await fc.assert(
    fc.asyncProperty(text, fc.array(fc.nat(40)), async (whole, cuts) => {
      const bytes = Buffer.from(whole);
      const places = [
        0,
        ...cuts.map((cut) => Math.min(cut, bytes.length)).sort((a, b) => a - b),
        bytes.length,
      ];
      const parts = places.slice(1).map((end, i) => bytes.subarray(places[i], end));
      expect(await read(parts, 12)).toEqual(await read([bytes], 12));
    }),
  );
});
