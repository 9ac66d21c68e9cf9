/** Ledgers of two patients in which entries of one say something of the other, too. */
import { expect } from 'vitest';
import { writeBody } from '../../src/audit/entry-text.ts';
import { writeFirstKey } from '../../src/audit/notices.ts';
import type { DeviceBody } from '../../src/domain/devices/device.ts';
import type { EntryBody } from '../../src/domain/vocabulary/entry.ts';
import { createRecordAct } from '../../src/record/device-acts.ts';
import { nameOf } from '../../src/record/names.ts';
import { incoming, openLedger, SETTINGS } from '../store/ledger.ts';
import { dec, level, NURSE, placed, says, setUp, type Told, voided } from '../support/drain-script.ts';
import { key, LOG, PUBLIC, sign } from './tampered.ts';

const id = (value: string) => ({ system: 'urn:example:bundle', value });
const at = (time: string) => `2026-03-01T${time}:00Z`;
const MONITOR = id('monitor');
export const [WRONG, RIGHT] = [nameOf(id('wrong')), nameOf(id('right'))];

/** A device was put on the wrong drain of two, and corrected to be on the right one. */
export async function makeTwoPatients(database: string): Promise<void> {
  const ledger = openLedger(database, { origin: LOG });
  const record = async (drain: string | null, body: EntryBody) => {
    const [outcome] = await ledger.record([{ drain, body, request: writeBody(body) }]);
    expect(outcome?.kind).toMatch(/^(recorded|unmatched)$/);
  };
  const act = createRecordAct(ledger.store, SETTINGS);
  const about = async (body: DeviceBody) =>
    expect((await act({ device: nameOf(MONITOR), body, request: JSON.stringify(body) })).kind).toBe(
      'recorded',
    );
  const common = (value: string) => ({ identifier: id(value), author: NURSE, effective_at: at('08:00') });
  const body = writeFirstKey(PUBLIC);
  await ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
  for (const name of ['wrong', 'right']) {
    const patient = { reference: `Patient/${name}` };
    await record(nameOf(id(name)), {
      kind: 'placed',
      site: 'mediastinal',
      tubes: ['A'],
      patient,
      ...common(name),
    });
  }
  await about({ kind: 'registered', device: MONITOR, type: 'monitor', ...common('registered') });
  const reading = (value: string, time: string): EntryBody => ({
    ...{ kind: 'reading', level_ml: dec(50), device: MONITOR, identifier: id(value) },
    ...{ author: { type: 'device', identifier: MONITOR }, effective_at: at(time) },
  });
  await record(null, reading('early', '08:30'));
  await record(null, reading('never', '07:00'));
  const told = { ...common('assigned'), reason: 'put there' };
  await about({ ...told, kind: 'assigned', drain: WRONG, from: at('09:00') });
  await record(null, reading('moved', '10:00'));
  await about({
    ...{ ...common('corrected'), kind: 'corrected', target: id('assigned'), reason: 'the wrong bed' },
    replacement: { drain: RIGHT, from: at('08:15') },
  });
  const elsewhere = { ...common('later'), reason: 'moved' };
  await about({
    ...common('closed'),
    kind: 'closed',
    target: id('assigned'),
    to: at('11:00'),
    reason: 'moved',
  });
  await about({ ...elsewhere, kind: 'assigned', drain: WRONG, from: at('11:00') });
  await ledger.store.checkpoint(sign(key));
  await ledger.close();
}

const ITS_OWN = { ...placed('08:00'), key: 'its-own' };
const PATIENTS = { ...placed('08:00', { patient: { reference: 'Patient/p' } }), key: 'patients' };
/** Was linked to the patient of the other one for a while: with entries of each, sums over both were issued. */
export const UNLINKED = incoming(ITS_OWN, ITS_OWN).drain;
export const PATIENTS_OWN = incoming(PATIENTS, PATIENTS).drain;

export async function makeUnlinked(database: string): Promise<void> {
  const ledger = openLedger(database, { origin: LOG, targets: [] });
  const body = writeFirstKey(PUBLIC);
  await ledger.store.notice({ type: 'checkpoint-key', actor: { type: 'service' }, body });
  const tell = async (told: Told, placement: Told): Promise<void> => {
    const [outcome] = await ledger.record([incoming(told, placement)]);
    expect(outcome?.kind).toBe('recorded');
  };
  for (const placement of [ITS_OWN, PATIENTS]) {
    await tell(placement, placement);
    await tell({ ...setUp('08:00', 0), key: `set-up-${placement.key}` }, placement);
  }
  await tell(says('link', '08:00', 'drain-updated', { patient: { reference: 'Patient/p' } }), ITS_OWN);
  for (const time of ['09:00', '10:00', '11:00'])
    for (const placement of [ITS_OWN, PATIENTS])
      await tell(level(`${time}-${placement.key}`, time, 10 * Number(time.slice(0, 2))), placement);
  await tell(voided('unlink', 'link'), ITS_OWN);
  await ledger.store.checkpoint(sign(key));
  await ledger.close();
}
