/** Corrections and withdrawals over the API: what may follow what. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import {
  at,
  content,
  corrected,
  id,
  level,
  NURSE,
  placeDrain,
  placement,
  SYSTEM,
  setUp,
  type TestDrain,
  tell,
  voided,
} from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;

beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(drain, setUp('set-up', '08:00', 0), level('a', '09:00', 100), level('b', '10:00', 150));
});
afterAll(() => service.stop());

async function refused(message: object) {
  const before = await drain.ledger();
  const { status, text } = await drain.enter(message);
  expect(await drain.ledger()).toBe(before);
  const { type, errors } = JSON.parse(text);
  const { pointer, value, mend } = errors[0];
  return { status, slug: type.split(':').at(-1), pointer, value: JSON.parse(value), mend };
}

const levelContent = (time: string, ml: number) => content(level('', time, ml));

test('only the newest form is corrected; the answer shows which that is', async () => {
  await tell(drain, corrected('a2', 'a', levelContent('09:00', 110)));
  expect((await drain.row('a')).interval?.drained_ml).toBe(110);
  expect(await refused(corrected('a3', 'a', levelContent('09:00', 120)))).toEqual({
    status: 409,
    slug: 'not-the-chain-end',
    pointer: '/target',
    value: `${SYSTEM}|a`,
    mend: `correct its newest form, ${SYSTEM}|a2`,
  });
  await tell(drain, corrected('a4', 'a2', levelContent('09:00', 120)));
  expect((await drain.row('a')).interval?.drained_ml).toBe(120);
  expect((await drain.row('b')).interval?.drained_ml).toBe(30);
});

test('the kind cannot change', async () => {
  const sampled = { kind: 'sampled', effective_at: '2025-03-01T10:00:00Z', volume_ml: 5 };
  expect(await refused(corrected('b2', 'b', sampled))).toMatchObject({
    status: 422,
    slug: 'kind-differs',
    pointer: '/replacement/kind',
    value: 'sampled',
    mend: "send kind 'reading', or mark the entry entered-in-error and enter it anew",
  });
});

test('the patient cannot change, nor be left out', async () => {
  const placed = (more: object) => ({ kind: 'placed', ...content(placement('', '08:00', more)) });
  for (const more of [{ patient: { reference: 'Patient/2' } }, {}]) {
    expect(await refused(corrected('p2', 'placed', placed(more)))).toMatchObject({
      status: 422,
      slug: 'patient-differs',
      pointer: '/replacement/patient',
    });
  }
  await tell(
    drain,
    corrected('p3', 'placed', placed({ patient: { reference: 'Patient/1' }, tubes: ['A', 'B'] })),
  );
  const { text } = await service.send('GET', `/v1/drains/${drain.drain}`);
  expect(JSON.parse(text).tubes).toEqual(['A', 'B']);
});

const chartOf = async (query: string) =>
  JSON.parse((await service.send('GET', `/v1/drains/${drain.drain}/chart${query}`)).text);

test('the chart says what stood there before it was withdrawn, by whom, when and why, and counts none of it', async () => {
  await tell(drain, level('w', '10:30', 140, { note: 'read in the dark' }));
  await tell(drain, corrected('w2', 'w', { ...levelContent('10:40', 145), note: 'read again' }));
  const before = Date.now();
  await tell(drain, { ...voided('w3', 'w'), author: { type: 'person', reference: 'Practitioner/n2' } });
  const { withdrawn, rows } = await chartOf('');
  expect(withdrawn).toEqual([
    {
      entry: expect.any(String),
      identifier: id('w'),
      kind: 'reading',
      effective_at: at('10:40'),
      charted: { level_ml: 145 },
      note: 'read again',
      author: NURSE,
      withdrawn_at: expect.stringMatching(/Z$/),
      withdrawn_by: { type: 'person', reference: 'Practitioner/n2' },
      reason: 'wrong drain',
    },
  ]);
  expect(Date.parse(withdrawn[0].withdrawn_at)).toBeGreaterThanOrEqual(before);
  expect(JSON.stringify(rows)).not.toMatch(/:145\b/);
  const withdrawnIn = async (query: string) => (await chartOf(query)).withdrawn.length;
  expect(await withdrawnIn(`?from=${at('10:40')}`)).toBe(1);
  expect(await withdrawnIn(`?from=${at('10:41')}`)).toBe(0);
  expect(await withdrawnIn(`?as_of=${at('10:40')}`)).toBe(1);
  expect(await withdrawnIn(`?as_of=${at('10:39')}`)).toBe(0);
});

test('an unknown target, and one of another drain', async () => {
  const other = await placeDrain(service, 'other');
  await tell(other, setUp('other-up', '08:00', 0));
  for (const target of ['nothing', 'other-up']) {
    expect(await refused(voided(`v-${target}`, target))).toEqual({
      status: 422,
      slug: 'unknown-target',
      pointer: '/target',
      value: `${SYSTEM}|${target}`,
      mend: 'name the identifier of an entry that is charted on this drain',
    });
  }
});

test('what is void stays void', async () => {
  await tell(drain, level('c', '11:00', 900), voided('c2', 'c'));
  const { rows } = await chartOf('');
  expect(JSON.stringify(rows)).not.toContain('"value":"c"');
  const final = {
    status: 409,
    slug: 'already-void',
    pointer: '/target',
    value: `${SYSTEM}|c`,
    mend: 'it was entered in error, which is final: enter it anew',
  };
  expect(await refused(voided('c3', 'c'))).toEqual(final);
  expect(await refused(corrected('c4', 'c', levelContent('11:00', 160)))).toEqual(final);
});

test('a withdrawal answers that nothing is derived any more', async () => {
  await tell(drain, level('d', '12:00', 170));
  const { text } = await drain.enter(voided('d2', 'd'));
  expect(JSON.parse(text)).toMatchObject({ identifier: id('d2'), kind: 'entered-in-error', derived: null });
});
