/** What is issued of a closed window: every figure with what qualifies it, and whence it comes. */
import { expect, it } from 'vitest';
import { DEFAULT_TABLE } from '../../../src/rules/default-table.ts';
import { asDrain } from '../../support/advice.ts';
import {
  instilled,
  level,
  placed,
  sampled,
  says,
  setUp,
  type Told,
  tell,
} from '../../support/drain-script.ts';
import { policyOf, UTC_CALENDAR } from '../../support/policy.ts';

const OF_ONE = { patient: { reference: 'Patient/1' }, encounter: { reference: 'Encounter/1' } };
const HOUR = { from: '2026-03-01T06:00:00Z', to: '2026-03-01T07:00:00Z' };

/** What the last entry issues under a name. */
function issued(story: readonly Told[], name: string) {
  const { accepted } = tell(story, new Map(), policyOf(DEFAULT_TABLE, undefined, UTC_CALENDAR));
  const changes = accepted.at(-1)?.changes ?? [];
  return changes
    .flatMap(({ issued: facts }) => facts.map(({ fact }) => fact))
    .filter((fact) => fact.name === name);
}

// U = 2 x 5 / sqrt 12 x sqrt 2 = 4.08 mL: two readings of marks 5 mL apart (JCGM 100:2008, 4.3.7 and 5.1.2).
it('of one drain: net is drained + sampled - instilled, 100 + 4 - 20 mL', () => {
  const story = [
    placed('06:00', OF_ONE),
    setUp('06:00', 0),
    instilled('flush', '06:10', 20),
    sampled('sample', '06:20', 4),
    level('a', '06:30', 60),
    level('b', '07:00', 100),
  ];
  expect(issued(story, 'net-drainage-hour')).toEqual([
    {
      name: 'net-drainage-hour',
      anchor: expect.stringMatching(/^[a-z2-7]{16}$/),
      effective: HOUR,
      value: { quantity: '84' },
      components: [
        { name: 'drained', quantity: '100' },
        { name: 'sampled', quantity: '4' },
        { name: 'instilled', quantity: '20' },
        { name: 'net-low', quantity: '84' },
        { name: 'net-high', quantity: '84' },
        { name: 'coverage', quantity: '1.000' },
        { name: 'uncertainty', quantity: '4.1' },
      ],
      flags: [],
      derived_from: [{ name: 'net-drainage', anchor: 'b', drain: 'd1' }],
      members: [],
      author: null,
      encounter: { reference: 'Encounter/1' },
      note: 'Clock hour of UTC.',
    },
  ]);
});

it('of a patient: a lower bound where a drain was not read to the end, which it names', () => {
  const left = [
    placed('06:00', OF_ONE),
    setUp('06:00', 0),
    level('a', '06:30', 40),
    level('b', '07:00', 100),
  ];
  const right = [
    placed('06:00', OF_ONE),
    setUp('06:00', 0),
    level('a', '06:30', 10),
    says('out', '07:00', 'removed', {}),
  ];
  // Long out, it is no part of this hour.
  const before = [
    placed('2026-02-28T06:00:00Z', OF_ONE),
    setUp('2026-02-28T06:00:00Z', 0),
    level('z', '2026-02-28T08:00:00Z', 30),
    says('out', '2026-02-28T09:00:00Z', 'removed', {}),
  ];
  const story = [...asDrain('before', before), ...asDrain('right', right), ...asDrain('left', left)];
  expect(issued(story, 'patient-net-drainage-hour')).toEqual([
    {
      name: 'patient-net-drainage-hour',
      anchor: expect.stringMatching(/^[a-z2-7]{16}$/),
      effective: HOUR,
      value: { quantity: '110', at_least: true },
      components: [
        { name: 'drained', quantity: '110' },
        { name: 'sampled', quantity: '0' },
        { name: 'instilled', quantity: '0' },
        { name: 'net-low', quantity: '110' },
        // Of the two hours in which drains were in place: 60 and 30 of 120 min.
        { name: 'coverage', quantity: '0.750' },
        // Read independently: 4.08 mL x sqrt 2.
        { name: 'uncertainty', quantity: '5.8' },
      ],
      flags: ['lower-bound'],
      derived_from: [
        { name: 'net-drainage', anchor: 'left-b', drain: 'left' },
        { name: 'net-drainage', anchor: 'right-a', drain: 'right' },
      ],
      members: [],
      author: null,
      encounter: { reference: 'Encounter/1' },
      note: 'Clock hour of UTC. Not covered: right (after-last-level).',
    },
  ]);
});
