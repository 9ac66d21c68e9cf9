/**
 * Whom an answer showed, where neither its path nor its query says: messages that nothing could be made of, and files
 * of exports. What has to be kept: 45 CFR 164.312(b); IHE BALP 1.1, an AuditEvent for each patient of a read.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { AuditEvent, Bundle } from 'fhir/r4.js';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { levelObx, MAPPING, message, writeMapping } from '../hl7v2/messages.ts';
import { problemsOf } from '../support/r4.ts';
import { type Guarded, startGuarded } from './access-control.ts';
import { brokenPatterns } from './balp.ts';
import { exporterOf } from './exporter.ts';
import { level, placement, setUp } from './messages.ts';

const MRN = 'urn:example:mrn';
const folder = mkdtempSync(join(tmpdir(), 'access-shown-'));
let guarded: Guarded;
let auditor: string;
let warehouse: string;

beforeAll(async () => {
  const mapping = { ...MAPPING, patient: { system: MRN, authority: 'HOSP' } };
  guarded = await startGuarded({ DRAINLEDGER_HL7V2: writeMapping(folder, mapping) });
  auditor = await guarded.token({ scope: 'system/AuditEvent.rs', client_id: 'audit-app' });
  warehouse = await guarded.token({ scope: 'system/*.rs', client_id: 'warehouse' });
  const nurse = await guarded.token({ scope: 'system/*.cruds' });
  for (const [key, patient] of [
    ['drain-1', { identifier: { system: MRN, value: 'p1' } }],
    ['drain-2', { reference: 'Patient/2' }],
  ] as const) {
    const placed = await guarded.send(nurse, 'POST', '/v1/drains', placement(key, '08:00', { patient }));
    const path = `/v1/drains/${JSON.parse(placed.text).drain}/entries`;
    for (const sent of [setUp(`${key}-up`, '08:00', 0), level(`${key}-1`, '09:00', 50)])
      expect((await guarded.send(nurse, 'POST', path, sent)).status).toBe(201);
  }
});
afterAll(async () => {
  await guarded.stop();
  rmSync(folder, { recursive: true });
});

/** Of one client, valid R4 and as BALP asks: what was asked for, and of whom. */
async function seenBy(client: string): Promise<{ asked: string; patient: string }[]> {
  const { text } = await guarded.send(
    auditor,
    'GET',
    `/fhir/AuditEvent?_count=1000&agent:identifier=${client}&_sort=_lastUpdated`,
  );
  const events = ((JSON.parse(text) as Bundle<AuditEvent>).entry ?? []).flatMap(
    ({ resource }) => resource ?? [],
  );
  expect(events.flatMap((each) => [...problemsOf(each), ...brokenPatterns(each)])).toEqual([]);
  return events.map(({ entity = [] }) => ({
    asked: entity.flatMap(({ detail = [] }) => detail.map(({ valueString = '' }) => valueString)).join(),
    patient: entity
      .filter(({ role }) => role?.code === '1')
      .map(({ what }) => what?.reference ?? what?.identifier?.value ?? '')
      .join(),
  }));
}

test('the list of HL7 v2 messages that wait shows those whom they name', async () => {
  const engine = await guarded.token({ scope: 'system/Observation.cu', client_id: 'gateway' });
  const send = (text: string) =>
    guarded.service.send('POST', '/v1/hl7v2', text, {
      'content-type': 'application/hl7-v2',
      authorization: `Bearer ${engine}`,
    });
  // Names a drain that is there, and a patient; neither, but a patient; a drain that nobody placed, in a PID of others.
  for (const text of [
    message({ controlId: 'a' }, levelObx('much')),
    message({ controlId: 'b', drain: 'unknown', patient: 'p3' }, levelObx('50')),
    message({ controlId: 'c', drain: 'unknown', patient: 'p4' }, levelObx('50')).replace(
      '^^^HOSP',
      '^^^ELSE',
    ),
  ])
    expect((await send(text)).status).toBe(422);
  const operator = await guarded.token({ scope: 'drainledger/operate', client_id: 'operator' });
  expect((await guarded.send(operator, 'GET', '/v1/hl7v2/unmapped')).status).toBe(200);
  const seen = await seenBy('operator');
  expect(seen.map(({ patient }) => patient).sort()).toEqual(['p1', 'p3']);
});

test('a file of an export shows all whose resources are in it, and the status of one shows nobody', async () => {
  const client = exporterOf((...sent) => guarded.send(warehouse, ...sent));
  const { manifest } = await client.exported('/fhir/$export?_type=Observation');
  const [file] = manifest.output;
  if (file === undefined) throw new Error('an export of two drains has a file');
  const resources = await client.lines(file);
  expect(resources.length).toBe(file.count);
  const { pathname } = new URL(file.url);
  const seen = await seenBy('warehouse');
  const ofFile = seen.filter(({ asked }) => asked === `GET ${pathname}`);
  expect(ofFile.map(({ patient }) => patient).sort()).toEqual(['Patient/2', 'p1']);
  expect(seen.filter(({ patient }) => patient !== '')).toEqual(ofFile);
});
