/** A claim runs from when it was taken, whatever is looked up first: it is made longer before a write that needs it. */
import { beforeEach, expect, it } from 'vitest';
import type { Connection } from '../../src/delivery/connection.ts';
import { claimMs, createSender } from '../../src/delivery/send.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { placed, setUp } from '../support/drain-script.ts';
import { targetOf } from './target.ts';

const BY_NUMBER = placed('08:00', {
  patient: { identifier: { system: 'urn:example:mrn', value: '12-34' } },
});
const TARGET = targetOf({ patient: 'look-up' });
const START = 2_000_000_000_000;

const ledger = ledgerForEach();
let now: number;
/** Of each write: for how long the claim still holds, ms. */
let holdsMs: number[];
beforeEach(async () => {
  now = START;
  holdsMs = [];
  for (const told of [BY_NUMBER, setUp('08:00', 0)]) await ledger.record([incoming(told, BY_NUMBER)]);
});

const claim = async () => {
  const lapsesMs = now + claimMs(TARGET);
  const claimed = await ledger.store.claim('ehr', now, lapsesMs, 1, []);
  return { claimed, lapsesMs };
};

/** A target that knows the patient, and takes its time to say so. */
function slowToFind(lookUp: () => Promise<void>): Connection {
  const patient = {
    resourceType: 'Patient',
    id: 'p7',
    identifier: [{ system: 'urn:example:mrn', value: '12-34' }],
  };
  const found = JSON.stringify({ resourceType: 'Bundle', entry: [{ resource: patient }] });
  const dueMs = ledger.db.prepare<[], number>('SELECT due_ms FROM lane').pluck();
  return {
    baseUrl: TARGET.baseUrl,
    async ask({ purpose }) {
      if (purpose === 'read') await lookUp();
      else holdsMs.push((dueMs.get() ?? 0) - now);
      return { verdict: { kind: 'taken' }, answer: { status: 200, headers: {}, body: found } };
    },
  };
}

async function attempt(lookUp: () => Promise<void>): Promise<string> {
  const { claimed, lapsesMs } = await claim();
  const [delivery] = claimed;
  if (delivery === undefined) throw new Error('nothing was claimed');
  const clock = { now: () => now, pause: () => Promise.resolve(), random: () => 0 };
  const connection = slowToFind(lookUp);
  const options = { store: ledger.store, target: TARGET, connection, clock, canonical: 'http://x.example' };
  return (await createSender(options).attempt(delivery, lapsesMs)).end.kind;
}

it.each([0, TARGET.timeoutMs, TARGET.timeoutMs + 1, 2 * TARGET.timeoutMs])(
  'it holds for a whole write and as long as that may be acted on, after a look-up of %s ms',
  async (tookMs) => {
    await attempt(async () => {
      now += tookMs;
    });
    expect(holdsMs.length).toBeGreaterThan(0);
    for (const held of holdsMs)
      expect(held).toBeGreaterThanOrEqual(TARGET.requestCeilingMs + TARGET.timeoutMs);
  },
);

it('nothing is written under a claim that lapsed meanwhile and is somebody else’s', async () => {
  const end = await attempt(async () => {
    now += claimMs(TARGET) + 1;
    expect((await claim()).claimed).toHaveLength(1);
  });
  expect([end, holdsMs]).toEqual(['lost', []]);
});
