/** Ids, identifiers and references of many resources of one issue, which differ before their first dot or after it. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { type Indexed, indexed } from './indexed.ts';

const MANY = 150;
let ledger: Indexed;

const observation = (n: number) => ({
  id: `fact${n % 5}.drain.entry${Math.floor(n / 5)}`,
  status: 'final',
  code: { coding: [{ system: 'urn:example:codes', code: n % 2 === 0 ? 'even' : 'odd' }] },
  subject: { reference: 'Patient/1' },
  effectiveDateTime: '2024-03-10T08:00:00Z',
  identifier: [{ system: 'urn:example:ids', value: `fact${n % 5}.drain.entry${Math.floor(n / 5)}` }],
  device: { identifier: { system: 'urn:example:devices', value: n < 140 ? 'one' : 'a.b' } },
  derivedFrom: [{ reference: `Observation/fact0.drain.entry${Math.floor(n / 5)}` }],
});

beforeAll(() => {
  ledger = indexed();
  ledger.issue({ ...observation(0), id: 'other.drain.before' });
  ledger.issue(...Array.from({ length: MANY }, (_, n) => observation(n)));
  // The second version of two of them.
  ledger.issue(observation(3), observation(149));
});
afterAll(() => ledger.close());

const ID = 'fact4.drain.entry29';
test.each([
  ['an id', `_id=${ID}`, [ID]],
  [
    'ids in several rows of words',
    '_id=fact0.drain.entry0,fact4.drain.entry29,fact4.drain',
    ['fact0.drain.entry0', ID],
  ],
  ['an identifier', `identifier=urn:example:ids|${ID}`, [ID]],
  ['an identifier without its system', `identifier=${ID}`, [ID]],
  ['no part of one', 'identifier=drain.entry29', []],
  ['none of another system', `identifier=urn:example:others|${ID}`, []],
  [
    'a reference',
    'derived-from=Observation/fact0.drain.entry29',
    [0, 1, 2, 3, 4].map((n) => `fact${n}.drain.entry29`),
  ],
  ['none of another head', 'derived-from=Observation/fact1.drain.entry29', []],
  [
    'one beside a code',
    'derived-from=Observation/fact0.drain.entry29&code=even',
    ['fact1.drain.entry29', 'fact3.drain.entry29'],
  ],
  ['one of a patient', `patient=1&identifier=urn:example:ids|${ID}`, [ID]],
  [
    'one of a patient by its device',
    'patient=1&device:identifier=urn:example:devices|a.b&code=odd',
    [141, 143, 145, 147, 149].map((n) => observation(n).id),
  ],
])('%s is found', (_, query, expected) => {
  expect([...ledger.ids(query)].sort()).toEqual([...expected].sort());
});

test('all that a device charted are found, each once, in their current version', () => {
  const ids = ledger.ids('device:identifier=urn:example:devices|one&_count=7');
  expect(ids).toHaveLength(141);
  expect(new Set(ids).size).toBe(141);
  const [found] = ledger.ask('search', 'identifier=urn:example:ids|fact3.drain.entry0').entry ?? [];
  expect(found?.resource?.meta?.versionId).toBe('2');
});

test('one is read by its id, and another of a part of it is not', () => {
  expect(ledger.ask('read', `_id=${ID}`)).toMatchObject({ id: ID, meta: { versionId: '2' } });
  expect(() => ledger.ask('read', '_id=drain.entry29')).toThrow(/no Observation/);
});

test('one that another of its resources said in the entry before is found in the one that says it', () => {
  const of = indexed();
  const about = (id: string, device: string | null) => ({
    id,
    status: 'final',
    code: { text: 'x' },
    ...(device === null ? {} : { device: { reference: `Device/${device}` } }),
  });
  of.issue(about('a', 'one'), about('b', null), about('c', 'one'));
  of.issue(about('d', 'one'), about('e', 'one'), about('f', null));
  expect([...of.ids('device=Device/one')].sort()).toEqual(['a', 'c', 'd', 'e']);
  of.close();
});
