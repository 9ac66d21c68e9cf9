/** A ward of two patients, of whom the second is hidden from who is confined to the first; all of it is invented. */

import { message as hl7, obx } from '../hl7v2/messages.ts';
import type { Guarded } from './access-control.ts';
import { assigned, byDevice } from './device-ward.ts';
import { exporterOf } from './exporter.ts';
import { at, entry, id, level, placeDrain, placement, setUp, tell } from './messages.ts';
import type { TestService } from './service.ts';

/** What names the second patient's things, or things that are not there. */
export interface Names {
  readonly patient: string;
  readonly drain: string;
  readonly device: string;
  /** Values of identifiers, of what may be referred to. */
  readonly placed: string;
  readonly monitor: string;
  readonly reading: string;
  readonly assignment: string;
  /** Ids by type of resource. */
  readonly resources: Readonly<Record<string, string>>;
  /** What paths name beside these, by the name of the parameter. */
  readonly paths: Readonly<Record<'delivery' | 'job' | 'file' | 'sequence', string>>;
}

export interface Ward {
  readonly mine: string;
  readonly theirs: Names;
  readonly nobodys: Names;
}

/** Whose deliveries wait: nothing listens there. */
export const TARGET = { name: 'ehr', base_url: 'http://127.0.0.1:9/fhir', mode: 'transaction' };

/** What is charted of the second patient and stands in no request of a client. */
export const SECRETS = [
  'canary-note',
  'canary-nurse',
  'canary-reason',
  'canary-encounter',
  'canary-result',
  '777.25',
  '778.5',
];

const SECRET_NURSE = { type: 'person', reference: 'Practitioner/canary-nurse' };

export async function chartWard({ send, service }: Guarded, full: string): Promise<Ward> {
  const post = async (path: string, body: object) => {
    const { status, text } = await send(full, 'POST', path, body);
    if (status !== 201) throw new Error(`${path}: ${text}`);
    return JSON.parse(text);
  };
  const place = async (key: string, patient: string, more: object = {}) =>
    (await post('/v1/drains', placement(key, '08:00', { patient: { reference: patient }, ...more }))).drain;
  const mine = await place('my-drain', 'Patient/mine');
  for (const each of [setUp('my-up', '08:00', 0), level('my-reading', '09:00', 50)])
    await post(`/v1/drains/${mine}/entries`, each);
  const secret = { author: SECRET_NURSE, note: 'canary-note' };
  const drain = await place('their-drain', 'Patient/their-patient', {
    ...secret,
    encounter: { reference: 'Encounter/canary-encounter' },
  });
  const register = async (monitor: string) =>
    (
      await post('/v1/devices', {
        ...{ identifier: id(`registers ${monitor}`), author: SECRET_NURSE, effective_at: at('07:00') },
        ...{ device: id(monitor), type: 'monitor' },
      })
    ).device;
  const device = await register('their-monitor');
  // Which devices there are is no secret from whoever may assign them; where they are is.
  const free = await register('no-monitor');
  await post(`/v1/devices/${device}/assignments`, {
    ...assigned('their-assignment', drain, '08:00'),
    ...{ author: SECRET_NURSE, reason: 'canary-reason' },
  });
  for (const each of [
    { ...setUp('their-up', '08:00', 0), ...secret },
    level('their-reading', '09:00', 777.25, secret),
    byDevice('their-own-reading', '10:00', 778.5, { device: id('their-monitor'), note: 'canary-note' }),
  ])
    await post(`/v1/drains/${drain}/entries`, each);
  const resources: Record<string, string> = {};
  for (const type of ['Observation', 'Device', 'Provenance', 'DeviceUseStatement', 'AuditEvent']) {
    const { text } = await send(full, 'GET', `/fhir/${type}?patient=Patient/their-patient&_count=1`);
    resources[type] = JSON.parse(text).entry[0].resource.id;
  }
  // Nothing can be made of it, and it names the drain: it is kept whole.
  const kept = hl7(
    { drain: 'their-drain', patient: 'their-patient' },
    obx('NM', 'NOSUCH^^99WARD', 'canary-result'),
  );
  await service.send('POST', '/v1/hl7v2', kept, {
    ...{ 'content-type': 'application/hl7-v2', authorization: `Bearer ${full}` },
  });
  const { manifest, at: status } = await exporterOf((...sent) => send(full, ...sent)).exported(
    '/fhir/$export',
  );
  const paths = {
    ...{ delivery: `${TARGET.name}.${drain}.1`, sequence: '1' },
    ...{ job: status.split('/').at(-1) ?? '', file: manifest.output[0]?.url.split('/').at(-1) ?? '' },
  };
  const theirs = {
    ...{ paths, patient: 'their-patient', drain, device, placed: 'their-drain', monitor: 'their-monitor' },
    ...{ reading: 'their-reading', assignment: 'their-assignment', resources },
  };
  return { mine, theirs, nobodys: likeOf(theirs, free) };
}

/** Names of what was lawfully erased, as far as there was such a thing. */
export const erasedNames = (nobodys: Names, drain: string): Names => ({
  ...nobodys,
  ...{ drain, patient: 'erased-patient', placed: 'erased-drain', reading: 'erased-reading' },
  paths: { ...nobodys.paths, delivery: `${TARGET.name}.${drain}.1` },
  resources: Object.fromEntries(
    Object.entries(nobodys.resources).map(([type, each]) => [type, each.replace(nobodys.drain, drain)]),
  ),
});

/** Charts a drain that retention would let go, for {@link erasedNames}. */
export async function chartGone(service: TestService): Promise<string> {
  const patient = { reference: 'Patient/erased-patient' };
  const drain = await placeDrain(service, 'erased-drain', '08:00', { patient });
  await tell(drain, setUp('erased-up', '08:00', 0), level('erased-reading', '09:00', 60));
  await tell(drain, entry('erased-out', 'removed', '11:00'));
  return drain.drain;
}

/** Names of the same form, of nothing. */
function likeOf({ drain, device, resources, paths }: Names, free: string): Names {
  const nowhere = { drain: drain.replaceAll(/./g, 'a'), device: free };
  return {
    ...nowhere,
    ...{ patient: 'no-patient', placed: 'no-drain', monitor: 'no-monitor' },
    ...{ reading: 'no-reading', assignment: 'no-assignment' },
    paths: {
      ...{ delivery: paths.delivery.replace(drain, nowhere.drain), sequence: '999' },
      ...{ job: paths.job.replaceAll(/./g, 'a'), file: paths.file },
    },
    resources: Object.fromEntries(
      Object.entries(resources).map(([type, each]) => [
        type,
        each.includes(drain) || each.includes(device)
          ? each.replace(drain, nowhere.drain).replace(device, nowhere.device)
          : each.replaceAll(/\d/g, '8'),
      ]),
    ),
  };
}
