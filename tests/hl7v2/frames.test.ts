/** Frames of MLLP, whole again however they were cut. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { createFrameReader, type FrameEvent } from '../../src/hl7v2/mllp/frames.ts';

const framed = (text: string): Buffer => Buffer.from(`\v${text}\x1c\r`, 'latin1');

test('frames are found however they are cut, whatever stands between them', () => {
  const plain = fc
    .uint8Array({ maxLength: 40 })
    .map((bytes) => Buffer.from(bytes.filter((byte) => byte !== 0x0b)));
  // Data may hold the separator that ends a frame, but not before a carriage return.
  const data = plain.map((bytes) =>
    Buffer.from(bytes.toString('latin1').replaceAll('\x1c\r', '\x1c '), 'latin1'),
  );
  const pieces = fc.array(fc.record({ junk: plain, data }), { maxLength: 8 });
  fc.assert(
    fc.property(pieces, fc.array(fc.integer({ min: 1, max: 30 }), { minLength: 1 }), (all, cuts) => {
      const bytes = Buffer.concat(
        all.flatMap(({ junk, data: inside }) => [junk, framed(inside.toString('latin1'))]),
      );
      const reader = createFrameReader(100);
      const events: FrameEvent[] = [];
      for (let at = 0, n = 0; at < bytes.length; n += 1) {
        const size = cuts[n % cuts.length] ?? 1;
        events.push(...reader.push(bytes.subarray(at, at + size)));
        at += size;
      }
      const found = events.flatMap((each) => (each.kind === 'frame' ? [each.bytes.toString('hex')] : []));
      expect(found).toEqual(all.map(({ data: inside }) => inside.toString('hex')));
      expect(events.some(({ kind }) => kind === 'cut' || kind === 'too-long')).toBe(false);
      expect(reader.isInside()).toBe(false);
    }),
    { numRuns: 1000 },
  );
});

test('a frame that another begins inside of is passed over', () => {
  const reader = createFrameReader(100);
  const events = reader.push(Buffer.concat([Buffer.from('\vhalf'), framed('whole')]));
  expect(events.map((each) => (each.kind === 'frame' ? each.bytes.toString() : each.kind))).toEqual([
    'cut',
    'whole',
  ]);
});
