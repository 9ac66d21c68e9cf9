/** Whatever is sent: never a failure of the server, always an answer in the form of the API. */
import fc from 'fast-check';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { content, corrected, entry, level, placeDrain, placement, setUp, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let paths: readonly string[];

beforeAll(async () => {
  service = await startTestService();
  const { drain } = await placeDrain(service, 'placed');
  paths = ['/v1/drains', `/v1/drains/${drain}/entries`, '/v1/entries', '/v1/drains/nowhere/entries'];
});
afterAll(() => service.stop());

const path = fc.nat({ max: 3 }).map((n) => paths[n] ?? '');

async function isAnswered(to: string, body: string | Buffer): Promise<void> {
  const { status, headers, text } = await service.send('POST', to, body, {
    'content-type': 'application/json',
  });
  expect(status, text).toBeLessThan(500);
  const type = headers.get('content-type');
  expect(type).toBe(
    status < 300 ? 'application/json; charset=utf-8' : 'application/problem+json; charset=utf-8',
  );
  for (const { detail } of faultsIn(JSON.parse(text))) {
    expect(detail).not.toMatch(
      /Invalid (input|option)|Unrecognized|Too (small|big)|received|undefined|\[object/,
    );
  }
}

/** Problems stand alone, or in the outcomes of a batch. */
function faultsIn(answer: unknown): readonly { readonly detail: string }[] {
  const { detail, outcomes } = answer as {
    detail?: string;
    outcomes?: readonly { readonly problem?: { readonly detail: string } }[];
  };
  const own = detail === undefined ? [] : [{ detail }];
  return [...own, ...(outcomes ?? []).flatMap(({ problem }) => problem ?? [])];
}

const odd = fc.oneof(
  fc.constantFrom(
    '',
    'reading',
    '2025-03-01T10:00:00Z',
    '__proto__',
    'constructor',
    '\u0000',
    '\ud83d',
    '{}',
  ),
  fc.constantFrom(null, true, -20, 1e300, 1.23456, 12, [], {}, [[]], { value: 1, unit: 'kPa' }),
  fc.constantFrom({ value: 1, unit: 'constructor' }, { value: 'x', unit: 'kPa' }, { value: 1, unit: '' }),
  fc.jsonValue({ maxDepth: 3 }),
);

const MESSAGES: readonly object[] = [
  placement('p', '08:00', { patient: { reference: 'Patient/1' } }),
  setUp('s', '08:00', 0),
  level('r', '10:00', 100, {
    suction: { source: 'on', column_cmh2o: 20, bubbling: 'gentle' },
    seal: { level_cmh2o: 4 },
    air_leak: { grade: 2, phase: 'expiratory' },
    note: 'seen',
  }),
  entry('u', 'unit-changed', '11:00', { profile: 'wet-2000', closing_level_ml: 300, opening_level_ml: 0 }),
  entry('b', 'level-rebased', '11:00', { cause: 'spill', last_trusted_level_ml: 10, new_level_ml: 5 }),
  entry('i', 'instilled', '11:00', { volume_ml: 20, purpose: 'flush' }),
  entry('w', 'weighed', '11:00', { weight_kg: 70.5 }),
  entry('d', 'drain-updated', '11:00', { encounter: { identifier: { system: 's', value: 'v' } } }),
  corrected('c', 'r', content(level('r', '10:00', 90))),
  voided('v', 'r'),
];

/** A place in a value, by choosing a member on each level, and what is done there. */
const mutation = fc.record({
  steps: fc.array(fc.nat({ max: 8 }), { minLength: 1, maxLength: 3 }),
  how: fc.oneof(
    { weight: 3, arbitrary: odd.map((value) => ({ put: value })) },
    { weight: 1, arbitrary: fc.constant({ remove: true as const }) },
    { weight: 1, arbitrary: fc.record({ key: fc.string(), add: odd }) },
  ),
});
type Mutation = typeof mutation extends fc.Arbitrary<infer T> ? T : never;

function mutated(value: unknown, { steps, how }: Mutation): unknown {
  const [step, ...rest] = steps;
  if (typeof value !== 'object' || value === null || step === undefined)
    return 'put' in how ? how.put : value;
  const members = Object.entries(value);
  const [key, member] = members[step % Math.max(1, members.length)] ?? [];
  if (key === undefined) return 'put' in how ? how.put : value;
  if (rest.length > 0) return { ...value, [key]: mutated(member, { steps: rest, how }) };
  if ('remove' in how) return Object.fromEntries(members.filter(([name]) => name !== key));
  return 'add' in how ? { ...value, [how.key]: how.add } : { ...value, [key]: how.put };
}

test('any JSON', async () => {
  await fc.assert(
    fc.asyncProperty(path, odd, (to, value) => isAnswered(to, JSON.stringify(value))),
    { numRuns: 300 },
  );
});

test('any bytes', async () => {
  await fc.assert(
    fc.asyncProperty(path, fc.uint8Array({ maxLength: 60 }), (to, bytes) =>
      isAnswered(to, Buffer.from(bytes)),
    ),
    { numRuns: 200 },
  );
});

test('any change of a good message, alone and in a batch', async () => {
  const changed = fc
    .record({
      message: fc.constantFrom(...MESSAGES),
      mutations: fc.array(mutation, { minLength: 1, maxLength: 2 }),
    })
    .map(({ message, mutations }) => mutations.reduce<unknown>(mutated, message));
  await fc.assert(
    fc.asyncProperty(path, changed, async (to, message) => {
      await isAnswered(to, JSON.stringify(message));
      await isAnswered('/v1/entries', JSON.stringify({ entries: [message, { together: [message] }] }));
    }),
    { numRuns: 250 },
  );
});
