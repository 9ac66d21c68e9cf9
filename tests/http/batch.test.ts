/** Batches: an outcome for each item in order, and entries that are taken together or not at all. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let left: TestDrain;
let right: TestDrain;

beforeAll(async () => {
  service = await startTestService();
  const patient = { patient: { reference: 'Patient/1' } };
  left = await placeDrain(service, 'left', '08:00', patient);
  right = await placeDrain(service, 'right', '08:00', { ...patient, site: 'pleural-right' });
  await tell(left, setUp('left-up', '08:00', 0));
  await tell(right, setUp('right-up', '08:00', 0));
});
afterAll(() => service.stop());

interface Outcome {
  readonly status: number;
  readonly result?: { readonly identifier: { readonly value: string } } | readonly object[];
  readonly problem?: {
    readonly detail: string;
    readonly first?: object;
    readonly errors?: readonly { readonly pointer: string; readonly value?: string; readonly mend: string }[];
  };
}

async function batch(...entries: readonly unknown[]): Promise<readonly Outcome[]> {
  const { status, text } = await service.send('POST', '/v1/entries', { entries });
  expect(status).toBe(200);
  return JSON.parse(text).outcomes;
}

const on = ({ drain }: TestDrain, message: object) => ({ drain, ...message });
const ledgers = async (): Promise<string> => `${await left.ledger()}${await right.ledger()}`;

test('one outcome an item, in order; a bad item harms no other', async () => {
  const outcomes = await batch(
    on(left, level('a1', '09:00', 10)),
    on(left, level('a2', '09:05', -1)),
    level('a3', '09:10', 20),
    on(left, level('a1', '09:00', 11)),
    { drain: 'nowhere', ...level('a4', '09:15', 20) },
    5,
    on(right, level('a5', '09:20', 30)),
    on(left, level('a1', '09:00', 10)),
  );
  expect(outcomes.map(({ status }) => status)).toEqual([201, 422, 422, 409, 404, 422, 201, 200]);
  expect(outcomes[0]?.result).toMatchObject({ identifier: { value: 'a1' } });
  expect(outcomes[6]?.result).toMatchObject({ identifier: { value: 'a5' }, drain: right.drain });
  const pointers = outcomes.map(({ problem }) => problem?.errors?.[0]?.pointer);
  expect(pointers).toEqual([
    undefined,
    '/level_ml',
    '/drain',
    '/identifier',
    '/drain',
    '',
    undefined,
    undefined,
  ]);
  expect((await left.row('a1')).interval?.drained_ml).toBe(10);
});

test('an item is the same message as a post to its drain', async () => {
  const alone = await left.enter(level('b1', '10:00', 20));
  const [outcome] = await batch(on(left, level('b1', '10:00', 20)));
  expect(outcome).toEqual({ status: 200, result: JSON.parse(alone.text) });
});

describe('together', () => {
  test('both are written and answered as a list; sent again, the same', async () => {
    const item = { together: [on(left, level('c1', '11:00', 40)), on(right, level('c2', '11:00', 50))] };
    const [first] = await batch(item);
    expect(first).toMatchObject({
      status: 201,
      result: [{ identifier: { value: 'c1' } }, { identifier: { value: 'c2' } }],
    });
    const before = await ledgers();
    const [again] = await batch(item);
    expect(again).toEqual({ status: 200, result: first?.result });
    expect(await ledgers()).toBe(before);
  });

  test.each([
    ['by the ledger', () => ({ drain: 'nowhere', ...level('d2', '12:00', 60) }), 404, '/together/1/drain'],
    ['by its schema', () => on(right, level('d3', '12:00', -60)), 422, '/together/1/level_ml'],
    ['for its key', () => on(right, level('c2', '12:00', 60)), 409, '/together/1/identifier'],
  ])('the second is refused %s: the first is not written', async (_name, second, status, pointer) => {
    const before = await ledgers();
    const [outcome, after] = await batch(
      { together: [on(left, level('d1', '12:00', 45)), second()] },
      on(right, level(`d-${status}`, '13:00', 60)),
    );
    expect(outcome).toMatchObject({ status, problem: { errors: [{ pointer }] } });
    expect(after?.status).toBe(201);
    const now = await ledgers();
    expect(now).not.toContain('"d1"');
    expect(now.length).toBeGreaterThan(before.length);
  });

  test('what was not written can be sent anew under its key', async () => {
    expect((await left.enter(level('d1', '12:00', 45))).status).toBe(201);
    expect((await left.row('d1')).interval).toMatchObject({ status: 'measured', drained_ml: 5 });
  });

  test.each([
    ['an empty list', { together: [] }, '/together', 'send at least 1 item'],
    ['three', { together: [1, 2, 3] }, '/together', 'send at most 2 items'],
    ['no list', { together: 5 }, '/together', 'send a list'],
    ['another field beside it', { together: [1], note: 'x' }, '/note', 'remove it'],
  ])('%s is refused', async (_name, item, pointer, mend) => {
    const [outcome] = await batch(item);
    expect(outcome).toMatchObject({ status: 422, problem: { errors: [{ pointer, mend }] } });
  });
});

describe('limits', () => {
  test.each([
    ['no items', { entries: [] }, '/entries', 'send at least 1 item'],
    ['501 items', { entries: Array.from({ length: 501 }, () => 1) }, '/entries', 'send at most 500 items'],
    ['no list', { entries: {} }, '/entries', 'send a list'],
    ['another field', { entries: [1], mode: 'fast' }, '/mode', 'remove it'],
    ['no object', [], '', 'send an object with the list: {"entries":[…]}'],
  ])('%s', async (_name, body, pointer, mend) => {
    const { status, text } = await service.send('POST', '/v1/entries', JSON.stringify(body));
    expect(status).toBe(422);
    expect(JSON.parse(text).errors).toEqual([expect.objectContaining({ pointer, mend })]);
  });

  test('500 items over 256 KiB are taken; over 2 MiB are not', async () => {
    const many = Array.from({ length: 500 }, (_, n) =>
      on(right, { ...level(`m${n}`, '14:00', 70), note: 'x'.repeat(500) }),
    );
    expect((await batch(...many)).every(({ status }) => status === 201)).toBe(true);
    const note = 'x'.repeat(1900);
    const large = many.flatMap((item) => [item, item, item]).map((item) => ({ ...item, note }));
    const { status, text } = await service.send('POST', '/v1/entries', { entries: large });
    expect(status).toBe(413);
    expect(JSON.parse(text).detail).toBe('The body is over 2097152 bytes: send less at once.');
  });
});
