/** Which version of a configuration counts at a moment. */
import { describe, expect, test } from 'vitest';
import { phaseAt } from '../../../src/domain/advisories/policy.ts';
import { epochMs } from '../../../src/domain/numbers/units.ts';

const version = (name: string, from: number) => ({ name, from: epochMs(from) });
const at = (versions: readonly ReturnType<typeof version>[], ms: number) =>
  phaseAt(versions, epochMs(ms)).name;

describe('the version in force', () => {
  const three = [version('1', 100), version('2', 200), version('3', 300)];

  test.each([
    ['long before the first: the first', -Infinity, '1'],
    ['just before the first: the first', 99, '1'],
    ['from its own moment on', 200, '2'],
    ['not a millisecond earlier', 199, '1'],
    ['until the next', 299, '2'],
    ['the last goes on', Infinity, '3'],
  ])('%s', (_name, ms, expected) => {
    expect(at(three, ms)).toBe(expected);
  });

  test('of two recorded in one millisecond is the later one', () => {
    expect(at([version('1', 100), version('2', 100)], 100)).toBe('2');
  });

  test('is never made up where there is none', () => {
    expect(() => phaseAt([], epochMs(0))).toThrow(RangeError);
  });
});
