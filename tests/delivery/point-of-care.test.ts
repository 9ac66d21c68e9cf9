/** What devices measure, as HL7's Point-of-Care Device IG has it, at a FHIR server of others and by its profiles. */
import type { Device, DeviceMetric, FhirResource, Observation } from 'fhir/r4.js';
import { describe, expect, it } from 'vitest';
import { atPointOfCare } from '../../src/delivery/point-of-care.ts';
import { resourceOf } from '../../src/delivery/resource.ts';
import { createFrameReader } from '../../src/store/sqlite/frames.ts';
import { incoming, ledgerForEach } from '../store/ledger.ts';
import { dec, level, placed, setUp, type Told } from '../support/drain-script.ts';
import { problemsOf } from '../support/r4.ts';
import { untilIdle } from './deliverer.ts';
import { otherEhrForEach } from './other-ehr.ts';
import { POCD_JUDGES, POCD_TARGETS } from './pocd-profiles.ts';

const IG = 'http://hl7.org/fhir/uv/pocd/StructureDefinition';
const CANONICAL = 'http://example.org/test';
const PLACED = placed('08:00', { patient: { reference: 'Patient/p' } });
const SENSOR = { type: 'device', identifier: { system: 'urn:example:monitor', value: 'm7' } } as const;
const STORY: readonly Told[] = [
  PLACED,
  setUp('08:00', 0),
  {
    key: 'all',
    time: '09:00',
    says: {
      kind: 'reading',
      level_ml: dec('60.0'),
      suction: { source: 'on', column_cmh2o: dec(20), ordered_cmh2o: dec(20), bubbling: 'gentle' },
      seal: { level_cmh2o: dec(5) },
      tidaling: 'present',
      air_leak: { grade: dec(2), phase: 'expiratory' },
      fluid_character: 'serous',
      fluid_colour: 'straw',
    },
  },
  { ...level('sensor', '10:00', 130), author: SENSOR },
  { ...level('fixed', '10:30', 70), corrects: 'all', to: '09:00' } as Told,
];

const ledger = ledgerForEach();

async function tell(): Promise<void> {
  for (const told of STORY) {
    const [outcome] = await ledger.record([incoming(told, PLACED)]);
    expect(outcome?.kind).toBe('recorded');
  }
}

/** All that was issued, as such a target is sent it. */
function sent(): readonly FhirResource[] {
  const textsIn = createFrameReader(ledger.db);
  const stored = ledger.db
    .prepare<[], string>('SELECT resources FROM issued ORDER BY log_index')
    .pluck()
    .all();
  const resources = stored.flatMap(textsIn).map(resourceOf);
  return atPointOfCare(resources, CANONICAL).map(({ text }) => JSON.parse(text) as FhirResource);
}
const profileOf = ({ meta }: FhirResource): string => meta?.profile?.[0] ?? '';
const ofType = <T extends FhirResource>(all: readonly FhirResource[], type: T['resourceType']): T[] =>
  all.filter((each): each is T => each.resourceType === type);

describe('what is sent in the profiles of point-of-care devices', () => {
  it('is valid by R4 and by the profile that each names', async () => {
    await tell();
    const all = sent();
    const judged = all.filter((each) => POCD_JUDGES.has(profileOf(each)));
    expect(new Set(judged.map(profileOf))).toEqual(new Set(POCD_JUDGES.keys()));
    for (const each of all) expect(problemsOf(each)).toEqual([]);
    for (const each of judged)
      expect(POCD_JUDGES.get(profileOf(each))?.(each as never), `${each.resourceType}/${each.id}`).toEqual(
        [],
      );
    // pocd-obs-1: if there is no value, a dataAbsentReason.
    for (const each of ofType<Observation>(judged, 'Observation'))
      expect(Object.keys(each).filter((key) => /^(value|dataAbsentReason)/.test(key))).toHaveLength(1);
  });

  it('leads from each Observation over metric, channel and virtual device to the unit or the device', async () => {
    await tell();
    const all = sent();
    const byName = new Map(all.map((each) => [`${each.resourceType}/${each.id}`, each]));
    const outside = new Set<string>();
    for (const each of all)
      for (const [element, target] of Object.entries(POCD_TARGETS.get(profileOf(each)) ?? {})) {
        const { reference, identifier } = each[
          element as keyof typeof each
        ] as never as Observation['device'] & {};
        if (identifier !== undefined) outside.add(`${target} ${identifier.value}`);
        else
          expect(profileOf(byName.get(reference ?? '') as FhirResource), `${each.id} ${element}`).toBe(
            target,
          );
      }
    expect([...outside]).toEqual([`${IG}/MdsDevice m7`]);
  });

  it('keeps what was charted, digits and all, beside the code of ISO/IEEE 11073 for the level', async () => {
    await tell();
    const textsIn = createFrameReader(ledger.db);
    const stored = ledger.db.prepare<[], string>('SELECT resources FROM issued').pluck().all();
    const [text = ''] = stored.flatMap(textsIn).filter((each) => each.includes('"id":"level.'));
    const projected = atPointOfCare([resourceOf(text)], CANONICAL).at(-1)?.text ?? '';
    expect(projected).toContain('"value":60.0,');
    const [before, after] = [JSON.parse(text) as Observation, JSON.parse(projected) as Observation];
    // Terminology: MII ICU module, generic drain output.
    const mdc = { system: 'urn:iso:std:iso:11073:10101', code: '157740' };
    expect(after.code.coding).toEqual([...(before.code.coding ?? []), mdc]);
    const { code: _c, device: _d, meta: _m, ...rest } = after;
    const { code: _code, device: _device, meta: _meta, ...expected } = before;
    expect(rest).toEqual(expected);
  });

  it('tells settings from measurements, and units by UCUM', async () => {
    await tell();
    const metrics = ofType<DeviceMetric>(sent(), 'DeviceMetric');
    const settings = metrics
      .filter(({ category }) => category === 'setting')
      .map(({ id }) => id?.split('.')[0]);
    // What was ordered is read off no device.
    expect(settings).toEqual(['metric-imposed-suction']);
    const [seal] = metrics.filter(({ id }) => id?.startsWith('metric-seal-level.'));
    expect(seal?.unit?.coding).toEqual([{ system: 'http://unitsofmeasure.org', code: 'cm[H2O]' }]);
  });

  it('leaves as it is issued what the service worked out, and what groups', async () => {
    await tell();
    const plain = ofType<Observation>(sent(), 'Observation').filter((each) => profileOf(each) === '');
    const names = new Set(plain.map(({ id }) => id?.split('.')[0]));
    expect([...names]).toEqual(expect.arrayContaining(['reading', 'net-drainage', 'total-negativity']));
    expect([...names]).not.toEqual(expect.arrayContaining(['level']));
  });
});

describe('at a server of others', () => {
  const ehr = otherEhrForEach();

  it('what is referred to is there, once, under its ids', async () => {
    await tell();
    ehr.deliver(ledger.store, { mode: 'create', profile: 'pocd' });
    expect(await untilIdle(ledger.store)).toEqual({ idle: 1 });
    const [observations, devices, metrics] = await Promise.all(
      (['Observation', 'Device', 'DeviceMetric'] as const).map((resourceType) =>
        ehr.repository.searchResources({ resourceType, count: 1000 }),
      ),
    );
    const there = new Set(
      [...(devices ?? []), ...(metrics ?? [])].map((each) => `${each.resourceType}/${each.id}`),
    );
    const parents = [
      ...(observations as Observation[]).map(({ device }) => device),
      ...(metrics as DeviceMetric[]).flatMap(({ source, parent }) => [source, parent]),
      ...(devices as Device[]).map(({ parent }) => parent),
    ].flatMap((each) => each?.reference ?? []);
    expect(parents.length).toBeGreaterThan(20);
    for (const reference of parents) expect(there).toContain(reference);
    for (const all of [devices, metrics] as Device[][]) {
      const values = all.map(({ identifier }) => identifier?.[0]?.value);
      expect(new Set(values).size).toBe(values.length);
    }
    expect(ehr.requests.filter((each) => each === 'POST DeviceMetric')).toHaveLength(metrics?.length ?? 0);
  });
});
