/** A drain that was linked to the wrong patient: what stands in that patient's record is told to be wrong there. */
import type { Observation } from 'fhir/r4.js';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { entry, level, placeDrain, setUp, type TestDrain, tell, voided } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let drain: TestDrain;

beforeEach(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'placed');
  const linked = entry('linked', 'drain-updated', '08:00', { patient: { reference: 'Patient/wrong' } });
  await tell(drain, setUp('up', '08:00', 0), linked, level('r', '09:00', 50));
});
afterEach(() => service.stop());

async function newest(query: string): Promise<Observation[]> {
  const { text } = await service.send('GET', `/fhir/Observation?${query}`);
  const bundle = JSON.parse(text);
  expect(problemsOf(bundle)).toEqual([]);
  return (bundle.entry ?? []).map(({ resource }: { resource: Observation }) => resource);
}

test('all that was issued leaves that record as entered in error, and none of it loses its subject', async () => {
  const before = await newest('patient=wrong');
  expect(before.length).toBeGreaterThan(5);
  expect(before.every(({ status }) => status !== 'entered-in-error')).toBe(true);
  await tell(drain, voided('unlink', 'linked'));
  const after = await newest('patient=wrong');
  expect(after.map(({ id }) => id).sort()).toEqual(before.map(({ id }) => id).sort());
  expect(new Set(after.map(({ status }) => status))).toEqual(new Set(['entered-in-error']));
  const { text } = await service.send('GET', '/readyz');
  expect(JSON.parse(text).ready).toBe(true);
});

test('linked to the right patient it is that one whose record has it', async () => {
  const right = entry('right', 'drain-updated', '08:00', { patient: { reference: 'Patient/right' } });
  await tell(drain, voided('unlink', 'linked'), right);
  const now = await newest('patient=right');
  expect(now.length).toBeGreaterThan(5);
  expect(now.every(({ status }) => status !== 'entered-in-error')).toBe(true);
  expect(await newest('patient=wrong')).toEqual([]);
  const level = now.find(({ code }) => code.coding?.[0]?.code === 'level');
  const { text } = await service.send('GET', `/fhir/Observation/${level?.id}/_history`);
  const versions = JSON.parse(text).entry.map(({ resource }: { resource: Observation }) => [
    resource.subject?.reference,
    resource.status,
  ]);
  expect(versions).toEqual([
    ['Patient/right', 'amended'],
    ['Patient/wrong', 'entered-in-error'],
    ['Patient/wrong', 'final'],
  ]);
});
