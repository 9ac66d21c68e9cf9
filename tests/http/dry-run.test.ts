/** A dry run: what an entry would be answered, and nothing written. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { content, corrected, entry, level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;
beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'dry', '08:00', { patient: { reference: 'Patient/dry' } });
  await tell(drain, setUp('up', '08:00', 0), level('a', '09:00', 100));
});
afterAll(() => service.stop());

const dry = async (message: object) => {
  const { status, text } = await service.send(
    'POST',
    `/v1/drains/${drain.drain}/entries?dry-run=true`,
    message,
  );
  return { status, body: JSON.parse(text) };
};

test('answers as the entry itself then is answered, in a wrapping that nobody takes for a receipt', async () => {
  const message = level('b', '10:00', 140);
  const before = await drain.ledger();
  const { status, body } = await dry(message);
  expect(status).toBe(200);
  expect(Object.keys(body)).toEqual(['dry_run', 'receipt']);
  expect(body.receipt.derived.interval).toMatchObject({ net_ml: 40, rate_ml_h: 40 });
  expect(await drain.ledger()).toBe(before);
  const taken = JSON.parse((await drain.enter(message)).text);
  expect({ ...taken, recorded_at: '' }).toEqual({ ...body.receipt, recorded_at: '' });
});

test('shows what a fall, a correction and a withdrawal would do, and takes none of it', async () => {
  const before = await drain.ledger();
  const fall = await dry(level('fall', '11:00', 90));
  expect(fall.body.receipt.derived.interval).toMatchObject({ net_ml: null, reason: 'unexplained-fall' });
  expect(fall.body.receipt.advisories.raised[0].title).toContain('Level fell');
  const change = await dry(corrected('c', 'a', content(level('', '09:00', 110))));
  expect(change.body.receipt.derived.interval).toMatchObject({ net_ml: 110 });
  const undone = entry('undo', 'entered-in-error', '12:00', {
    target: { system: 'urn:example:ward', value: 'a' },
    reason: 'x',
  });
  expect((await dry(undone)).body.receipt.derived).toBeNull();
  expect(await drain.ledger()).toBe(before);
  expect((await drain.row('a')).interval).toMatchObject({ net_ml: 100 });
});

test('refuses what the entry would be refused for, in the same words', async () => {
  const wrong = [
    level('n', '10:30', -5),
    corrected('n', 'nothing', content(level('', '09:00', 110))),
    entry('n', 'drain-updated', '10:00', { patient: { reference: 'Patient/another' } }),
    { ...level('n', '10:30', 5), effective_at: new Date(Date.now() + 3_600_000).toISOString() },
  ];
  for (const message of wrong) {
    const { status, body } = await dry(message);
    const sent = await drain.enter(message);
    expect(status).toBeGreaterThanOrEqual(400);
    // A time in the future is measured from now, which goes on.
    const still = (text: string) => text.replaceAll(/now, [^"]*/g, 'now');
    expect({ status, text: still(JSON.stringify(body)) }).toEqual({
      status: sent.status,
      text: still(sent.text),
    });
  }
});

test('of an entry that is recorded says so with its receipt; of its key with other content, that it is used', async () => {
  const again = await dry(level('a', '09:00', 100));
  expect(again.status).toBe(200);
  expect(again.body).toMatchObject({ sequence: 3, kind: 'reading' });
  expect((await dry(level('a', '09:00', 101))).status).toBe(409);
});

test('leaves the books of a patient that it would link as they are', async () => {
  const loose = await placeDrain(service, 'loose', '08:00');
  await tell(loose, setUp('loose-up', '08:00', 0), level('loose-1', '09:00', 50));
  const link = entry('link', 'drain-updated', '09:30', { patient: { reference: 'Patient/dry' } });
  const path = `/v1/drains/${loose.drain}`;
  expect((await service.send('POST', `${path}/entries?dry-run=true`, link)).status).toBe(200);
  const { text } = await service.send('GET', `${path}/patient-windows`);
  expect(JSON.parse(text)).toMatchObject({ patient: null, drains: [loose.drain] });
  await tell(loose, level('loose-2', '10:00', 60));
  expect((await loose.row('loose-2')).interval).toMatchObject({ net_ml: 10 });
});

test('only true or false is a dry run or none', async () => {
  const { status, text } = await service.send(
    'POST',
    `/v1/drains/${drain.drain}/entries?dry-run=yes`,
    level('y', '10:30', 1),
  );
  expect([status, JSON.parse(text).errors[0].pointer]).toEqual([400, '?dry-run']);
  const real = await service.send(
    'POST',
    `/v1/drains/${drain.drain}/entries?dry-run=false`,
    level('z', '10:30', 150),
  );
  expect(real.status).toBe(201);
});
