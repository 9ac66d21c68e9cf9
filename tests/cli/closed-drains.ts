/** A ledger of closed drains, one of each kind that matters to archives; all but the newest were charted in March 2026. */
import { generateKeyPairSync, type KeyObject } from 'node:crypto';
import { rawPublicKey, signCheckpoint } from '../../src/audit/checkpoint.ts';
import { writeBody } from '../../src/audit/entry-text.ts';
import { writeFirstKey } from '../../src/audit/notices.ts';
import { writeConfiguration } from '../../src/configuration/configuration-text.ts';
import { defaultProfiles } from '../../src/configuration/profiles.ts';
import type { DeviceBody } from '../../src/domain/devices/device.ts';
import type { EntryBody } from '../../src/domain/vocabulary/entry.ts';
import { DEFAULT_SETTINGS } from '../../src/domain/vocabulary/settings.ts';
import { createRecordAct } from '../../src/record/device-acts.ts';
import { nameOf } from '../../src/record/names.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { incoming, type Ledger, openLedger, SETTINGS } from '../store/ledger.ts';
import { at, dec, level, NURSE, placed, says, setUp, type Told } from '../support/drain-script.ts';

export const LOG = 'closed.example';
export const key: KeyObject = generateKeyPairSync('ed25519').privateKey;
export const sign = (head: { size: number; root: Buffer }): string =>
  signCheckpoint({ origin: LOG, ...head }, key);

const placedAs = (name: string, patient?: string): Told => ({
  ...placed('08:00', patient === undefined ? {} : { patient: { reference: `Patient/${patient}` } }),
  key: `placed-${name}`,
});
const PLACED = {
  /** Both of one patient, both out. */
  left: placedAs('left', 'p'),
  right: placedAs('right', 'p'),
  /** Out, and another drain of the patient is in. */
  out: placedAs('out', 'q'),
  still: placedAs('still', 'q'),
  /** Of nobody that is known, out. */
  alone: placedAs('alone'),
  /** Out, and what was set aside waits for staff. */
  refused: placedAs('refused', 'r'),
  /** Out, and not delivered yet. */
  waiting: placedAs('waiting', 'u'),
  /** Out, and a device that was on it has read something since it was taken off. */
  watched: placedAs('watched', 't'),
  /** Out since today. */
  today: placedAs('today', 's'),
};
export type Name = keyof typeof PLACED;
export const drain = (name: Name): string => incoming(PLACED[name], PLACED[name]).drain;

const removed = says('removed', '12:00', 'removed', {});
const IN_MARCH = Date.parse('2026-03-20T08:00:00Z');

const DEVICE = { system: 'urn:example:test', value: 'monitor' };

/** A monitor is on the drain until half past nine, and reads once more at eleven. */
async function watchBy(ledger: Ledger, drain: string): Promise<void> {
  const recordAct = createRecordAct(ledger.store, SETTINGS);
  const own = (value: string, time: string) => ({
    identifier: { system: 'urn:example:test', value },
    effective_at: at(time),
  });
  const acts: DeviceBody[] = [
    { ...own('registered', '08:00'), author: NURSE, kind: 'registered', device: DEVICE, type: 'monitor' },
    {
      ...{ ...own('assigned', '08:00'), author: NURSE, kind: 'assigned', reason: 'connected' },
      ...{ drain, from: at('08:00'), to: at('09:30') },
    },
  ];
  for (const body of acts) {
    const { kind } = await recordAct({ device: nameOf(DEVICE), body, request: JSON.stringify(body) });
    if (kind !== 'recorded') throw new Error(`the device was ${kind}`);
  }
  const body: EntryBody = {
    ...{ ...own('read', '11:00'), kind: 'reading', level_ml: dec(90), device: DEVICE },
    author: { type: 'device', identifier: DEVICE },
  };
  const [outcome] = await ledger.record([{ drain: null, body, request: writeBody(body) }]);
  if (outcome?.kind !== 'unmatched') throw new Error(JSON.stringify(outcome));
}

export async function makeClosedDrains(file: string): Promise<void> {
  let now = IN_MARCH;
  const clock = () => {
    now += 1000;
    return now;
  };
  let ledger = openLedger(file, { origin: LOG, targets: [], now: clock });
  const tell = async (name: Name, told: Told): Promise<void> => {
    const own = told === PLACED[name] ? told : { ...told, key: `${told.key}-${name}` };
    const [outcome] = await ledger.record([incoming(own, PLACED[name])]);
    if (outcome?.kind !== 'recorded') throw new Error(JSON.stringify(outcome));
  };
  const chart = async (name: Name, more: readonly Told[]): Promise<void> => {
    for (const told of [
      PLACED[name],
      setUp('08:00', 0),
      level('a', '09:00', 60),
      level('b', '10:00', 90),
      ...more,
    ])
      await tell(name, told);
  };
  await ledger.store.configure(
    writeConfiguration({
      algorithm: '1',
      settings: DEFAULT_SETTINGS,
      profiles: defaultProfiles(),
      rules: DEFAULT_TABLE,
      calendar: { zone: 'UTC', dayStart: 420, shiftStarts: [420, 1140] },
      terminology: { snomed: true, categories: {} },
    }),
  );
  await ledger.store.notice({
    type: 'checkpoint-key',
    actor: { type: 'service' },
    body: writeFirstKey(rawPublicKey(key)),
  });
  for (const name of ['left', 'right', 'out', 'alone'] as const) await chart(name, [removed]);
  await ledger.store.checkpoint(sign);
  await chart('still', []);
  await chart('watched', [removed]);
  await watchBy(ledger, drain('watched'));
  await ledger.close();
  ledger = openLedger(file, { origin: LOG, now: clock });
  await chart('refused', [removed]);
  for (let isFirst = true; ; isFirst = false) {
    const [next] = await ledger.store.claim('ehr', now, now + 500, 1, []);
    if (next === undefined) break;
    const dead = { state: 'dead', outcome: { why: 'HTTP 422' }, taken: [] } as const;
    const delivered = { state: 'delivered', outcome: null, taken: [] } as const;
    await ledger.store.settle([{ delivery: next, settlement: isFirst ? dead : delivered }], now);
  }
  await chart('waiting', [removed]);
  await ledger.close();
  ledger = openLedger(file, { origin: LOG, targets: [] });
  await chart('today', [removed]);
  await ledger.store.checkpoint(sign);
  await ledger.close();
}
