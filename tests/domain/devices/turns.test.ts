import { expect, it } from 'vitest';
import type { Episode } from '../../../src/domain/advisories/episodes.ts';
import { turnsOf } from '../../../src/domain/devices/turns.ts';

const episode = (id: string, ended_at: string | null = null): Episode => ({ id, ended_at }) as Episode;
const END = '2026-03-01T10:00:00Z';
const ids = (before: readonly Episode[], after: readonly Episode[]) => {
  const turns = turnsOf([{ advisories: { before, after } }]);
  return (
    turns && [turns.raised, turns.ended, turns.withdrawn].map((episodes) => episodes.map(({ id }) => id))
  );
};

it.each<[string, readonly Episode[], readonly Episode[], ReturnType<typeof ids>]>([
  ['none: nothing', [], [], null],
  [
    'one that stands, and one that had ended: nothing',
    [episode('a'), episode('b', END)],
    [episode('a'), episode('b', END)],
    null,
  ],
  ['a new one: raised', [episode('a')], [episode('a'), episode('b')], [['b'], [], []]],
  ['a new one that is over already: raised', [], [episode('a', END)], [['a'], [], []]],
  ['one that is over now: ended', [episode('a')], [episode('a', END)], [[], ['a'], []]],
  ['one that is no more: withdrawn', [episode('a'), episode('b')], [episode('b')], [[], [], ['a']]],
  ['one of each', [episode('a'), episode('b')], [episode('b', END), episode('c')], [['c'], ['b'], ['a']]],
])('%s', (_, before, after, expected) => {
  expect(ids(before, after)).toEqual(expected);
});

it('looks at the advisories of all drains', () => {
  const turns = turnsOf([
    { advisories: { before: [], after: [episode('a')] } },
    { advisories: { before: [episode('b')], after: [] } },
  ]);
  expect(turns).toMatchObject({ raised: [{ id: 'a' }], withdrawn: [{ id: 'b' }] });
});
