/** A drain that was linked to the wrong patient, until it was linked to the right one; all of it is invented. */
import type { Guarded } from './access-control.ts';
import { registration } from './device-ward.ts';
import { level as observed } from './fhir-messages.ts';
import { at, content, corrected, entry, id, level, placement, setUp, voided } from './messages.ts';

/** Whatever names the patient whose the drain never was, or whose stay. */
export const WRONG_NAMES = ['canary-wrong', 'canary-mrn', 'canary-stay'];
const WRONG = {
  reference: 'Patient/canary-wrong',
  identifier: { system: 'urn:example:mrn', value: 'canary-mrn' },
};

export interface Relinked {
  readonly drain: string;
  /** Of the patient whom the other was linked to. */
  readonly wrongs: string;
}

/** What was sent of the drain as an Observation while it was linked to the wrong patient, and withdrawn then. */
export const withdrawnThen = (more: object = {}): object =>
  observed('relinked-gone', '09:35', 72, {
    subject: WRONG,
    focus: [{ identifier: id('relinked') }],
    ...more,
  });

export async function chartRelinked({ send }: Guarded, full: string, right: string): Promise<Relinked> {
  const post = async (path: string, body: object) => {
    const { status, text } = await send(full, 'POST', path, body);
    if (status >= 300) throw new Error(`${path}: ${text}`);
    return JSON.parse(text);
  };
  const { drain } = await post('/v1/drains', placement('relinked'));
  const chart = (...messages: readonly object[]) => enterAll(drain, messages);
  const enterAll = async (on: string, messages: readonly object[]) => {
    for (const each of messages) await post(`/v1/drains/${on}/entries`, each);
  };
  const linked = { patient: WRONG, encounter: { reference: 'Encounter/canary-stay' }, note: 'canary-stay' };
  await chart(entry('links-wrongly', 'drain-updated', '08:00', linked));
  const { drain: wrongs } = await post('/v1/drains', placement('wrongs', '08:00', { patient: WRONG }));
  await enterAll(wrongs, [setUp('wrongs-up', '08:00', 0), level('wrongs-r', '09:00', 20)]);
  await post('/v1/devices', registration('registers-relinked', id('relinked-monitor')));
  await post('/fhir/DeviceUseStatement', {
    ...{ resourceType: 'DeviceUseStatement', identifier: [id('relinked-use')], status: 'active' },
    ...{ subject: WRONG, device: { identifier: id('relinked-monitor') } },
    ...{ derivedFrom: [{ identifier: id('relinked') }], timingPeriod: { start: at('08:00') } },
  });
  await chart(
    setUp('relinked-up', '08:00', 0),
    level('relinked-r1', '09:00', 50),
    level('relinked-void', '09:20', 61),
    voided('relinked-voids', 'relinked-void'),
    corrected('relinked-corrects', 'relinked-r1', content(level('', '09:00', 52))),
  );
  const { id: gone } = await post('/fhir/Observation', withdrawnThen());
  await post(
    '/fhir/Observation',
    observed('relinked-stays', '09:40', 75, {
      ...{ subject: WRONG, focus: null, device: { identifier: id('relinked-monitor') } },
    }),
  );
  const update = { ...withdrawnThen({ status: 'entered-in-error' }), id: gone };
  await send(full, 'PUT', `/fhir/Observation/${gone}`, update, { 'if-match': 'W/"1"' });
  await enterAll(wrongs, [level('wrongs-r2', '10:00', 40), voided('wrongs-void', 'wrongs-r2')]);
  await chart(
    voided('unlinks', 'links-wrongly'),
    entry('links', 'drain-updated', '08:00', { patient: { reference: right } }),
    level('relinked-r2', '10:00', 90),
  );
  return { drain, wrongs };
}
