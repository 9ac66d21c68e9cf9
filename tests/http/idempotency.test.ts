/** The same key always means the same message, and the same message always gets the same bytes. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import {
  at,
  id,
  level,
  NURSE,
  placeDrain,
  placement,
  SYSTEM,
  setUp,
  type TestDrain,
  tell,
} from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed');
  await tell(drain, setUp('set-up', '08:00', 0));
});
afterAll(() => service.stop());

const entries = async (of = drain): Promise<number> => JSON.parse(await of.ledger()).entries.length;

test('sent again: 200, the same bytes, no second row', async () => {
  const first = await drain.enter(level('a', '09:00', 100));
  const count = await entries();
  const again = await drain.enter(level('a', '09:00', 100));
  expect([first.status, again.status]).toEqual([201, 200]);
  expect(again.text).toBe(first.text);
  expect(await entries()).toBe(count);
});

test('the first answer is given though the ledger has moved on', async () => {
  const first = await drain.enter(level('b', '10:00', 200));
  await tell(drain, level('b-late', '09:30', 150));
  const again = await drain.enter(level('b', '10:00', 200));
  expect(again).toMatchObject({ status: 200, text: first.text });
});

test('a placement sent again', async () => {
  const [first, again] = [
    await service.send('POST', '/v1/drains', placement('second')),
    await service.send('POST', '/v1/drains', placement('second')),
  ];
  expect([first.status, again.status]).toEqual([201, 200]);
  expect(again.text).toBe(first.text);
});

test('50 at once: one row, identical answers', async () => {
  const count = await entries();
  const answers = await Promise.all(Array.from({ length: 50 }, () => drain.enter(level('c', '11:00', 300))));
  expect(new Set(answers.map(({ text }) => text)).size).toBe(1);
  expect(answers.filter(({ status }) => status === 201)).toHaveLength(1);
  expect(answers.filter(({ status }) => status === 200)).toHaveLength(49);
  expect(await entries()).toBe(count + 1);
});

test('other content: 409 with the first answer, nothing written', async () => {
  const first = await drain.enter(level('d', '12:00', 400));
  const before = await drain.ledger();
  const other = await drain.enter(level('d', '12:00', 401));
  expect(other.status).toBe(409);
  const problem = JSON.parse(other.text);
  expect(problem.first).toEqual(JSON.parse(first.text));
  expect(problem.errors[0]).toMatchObject({
    pointer: '/identifier',
    value: JSON.stringify(id('d')),
    mend: 'send a new identifier, or a correction that names this one',
  });
  expect(await drain.ledger()).toBe(before);
});

test("'2' and '2.0' are not the same, and 10:00Z and 11:00+01:00 are not", async () => {
  const text = (digits: string, time: string) =>
    `{"identifier":${JSON.stringify(id('e'))},"author":${JSON.stringify(NURSE)},"effective_at":"${time}","kind":"sampled","volume_ml":${digits}}`;
  expect((await drain.enter(text('2', at('13:00')))).status).toBe(201);
  expect((await drain.enter(text('2.0', at('13:00')))).status).toBe(409);
  expect((await drain.enter(text('2', '2025-03-01T14:00:00+01:00'))).status).toBe(409);
  expect((await drain.enter(text('2', at('13:00')))).status).toBe(200);
});

test('the order of keys, white space and ways of escaping do not matter', async () => {
  const first = await drain.enter(
    `{"identifier":{"system":"${SYSTEM}","value":"f"},"author":{"type":"person","reference":"Practitioner/n1"},"effective_at":"${at('14:00')}","kind":"reading","fluid_colour":"straw"}`,
  );
  const again = await drain.enter(
    `{ "fluid_colour" : "str\\u0061w",\n "kind":"reading", "effective_at":"${at('14:00')}",\t"author":{"reference":"Practitioner/n1","type":"person"},"identifier":{"value":"f","system":"${SYSTEM}"}}`,
  );
  expect(first.status).toBe(201);
  expect(again).toMatchObject({ status: 200, text: first.text });
});

test('the same message for another drain is another message', async () => {
  const other = await placeDrain(service, 'third');
  expect((await drain.enter(level('g', '15:00', 500))).status).toBe(201);
  expect((await other.enter(level('g', '15:00', 500))).status).toBe(409);
  expect(await entries(other)).toBe(1);
});

test('a key of another system is another key', async () => {
  const message = { ...level('h', '16:00', 500), identifier: { system: 'urn:example:h', value: 'x' } };
  const swapped = { ...message, identifier: { system: 'urn:example', value: 'h:x' } };
  expect((await drain.enter(message)).status).toBe(201);
  expect((await drain.enter(swapped)).status).toBe(201);
});
