/** Whether a log continues what was seen of it. */
import { describe, expect, test } from 'vitest';
import { readCheckpoint } from '../../src/audit/checkpoint.ts';
import { doubtsOf } from '../../src/audit/standing.ts';

const rootAt = (size: number) => Buffer.alloc(32, size);
const log = (size: number, restores = 0) => ({ name: 'log.example', restores, size: () => size, rootAt });
function seen(size: number, root = rootAt(size), origin = 'log.example') {
  const note = readCheckpoint(`${origin}\n${size}\n${root.toString('base64')}\n`);
  if (note === undefined) throw new Error('no head');
  return { where: `the head of ${size}`, note };
}
const whys = (...given: Parameters<typeof doubtsOf>) => doubtsOf(...given).map(({ why }) => why);

describe('a log', () => {
  test('of the size that was seen, or grown since, is in no doubt', () => {
    expect(whys(log(5), [seen(5), seen(1), seen(0)])).toEqual([]);
    expect(whys(log(5), [])).toEqual([]);
  });

  test('that is shorter is in doubt', () => {
    expect(whys(log(5), [seen(5), seen(6)])).toEqual([
      'it holds 5 entries, and the head of 6 has seen 6: the newest were lost, or an old copy was restored',
    ]);
  });

  test('with another beginning is in doubt', () => {
    expect(whys(log(5), [seen(3, Buffer.alloc(32, 9))])).toEqual([
      'its first 3 entries are not those that the head of 3 has seen: this is another history',
    ]);
  });

  test('that a person accepted is held to what was seen since', () => {
    expect(whys(log(5, 1), [seen(9)])).toEqual([]);
    expect(whys(log(5, 1), [seen(9, rootAt(9), 'log.example/restored-1')])).toHaveLength(1);
    expect(whys(log(5, 1), [seen(5, rootAt(5), 'log.example/restored-1')])).toEqual([]);
  });

  test('from before a restore that was accepted is in doubt', () => {
    expect(whys(log(5), [seen(3, rootAt(3), 'log.example/restored-1')])).toEqual([
      'it is a copy from before a restore that was accepted: the head of 3 is of log.example/restored-1',
    ]);
  });

  test('cannot be held to the head of another', () => {
    expect(() => doubtsOf(log(5), [seen(3, rootAt(3), 'other.example')])).toThrow(
      'is of the log other.example',
    );
  });
});
