import { afterEach, beforeEach, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { observationText, type RunningStandIn, readFrom, sendTo, startStandIn } from './client.ts';

let standIn: RunningStandIn;
beforeEach(async () => {
  standIn = await startStandIn();
});
afterEach(() => standIn.app.close());

test('the CapabilityStatement is valid R4 and declares what delivery relies on', async () => {
  const { status, headers, text } = await readFrom(`${standIn.fhir}/metadata`);
  expect([status, headers.get('content-type')]).toEqual([200, 'application/fhir+json; charset=utf-8']);
  const statement = JSON.parse(text);
  expect(problemsOf(statement)).toEqual([]);
  expect([statement.fhirVersion, statement.implementation.url]).toEqual(['4.0.1', standIn.fhir]);
  expect(statement.rest[0].interaction).toEqual([{ code: 'transaction' }, { code: 'batch' }]);
  expect(statement.rest[0].resource).toContainEqual(
    expect.objectContaining({ type: 'Observation', conditionalCreate: true, updateCreate: true }),
  );
});

test('both JSON content types are taken, with parameters too', async () => {
  const types = ['application/json', 'application/fhir+json; charset=utf-8; fhirVersion=4.0'];
  for (const [index, type] of types.entries()) {
    const text = observationText(`sent-${index}`);
    const url = `${standIn.fhir}/Observation/sent-${index}`;
    expect((await sendTo('PUT', url, text, { 'content-type': type })).status, type).toBe(201);
  }
});

test('every refusal is a valid OperationOutcome', async () => {
  const observations = `${standIn.fhir}/Observation`;
  const answers = [
    await readFrom(`${standIn.fhir}/Observation/none`),
    await readFrom(`${standIn.fhir}/Observation/none/_history`),
    await readFrom(`${standIn.fhir}/Unknown`),
    await readFrom(`${standIn.fhir}/no/such/route/at/all`),
    await readFrom(`${standIn.origin}/elsewhere`),
    await readFrom(`${standIn.fhir}/Observation/%zz`),
    await sendTo('POST', `${standIn.fhir}/Unknown`, '{"resourceType":"Unknown"}'),
    await sendTo('POST', observations, '<Observation/>', { 'content-type': 'application/fhir+xml' }),
    await sendTo('POST', observations, '{"resourceType":"Observation",'),
    await sendTo('POST', observations, ''),
    await sendTo('POST', observations, ' '.repeat(16 * 1024 * 1024 + 1)),
  ];
  expect(answers.map(({ status }) => status)).toEqual([
    404, 404, 404, 404, 404, 400, 404, 415, 400, 400, 413,
  ]);
  for (const { headers, text } of answers) {
    expect(headers.get('content-type')).toBe('application/fhir+json; charset=utf-8');
    expect(problemsOf(JSON.parse(text))).toEqual([]);
  }
});

test('_received counts requests, resources and versions, and not itself', async () => {
  const url = `${standIn.fhir}/Observation/counted`;
  await sendTo('PUT', url, observationText('counted', '1'));
  await sendTo('PUT', url, observationText('counted', '2'));
  await sendTo('PUT', `${standIn.fhir}/Device/unit`, '{"resourceType":"Device","id":"unit"}');
  await readFrom(`${standIn.fhir}/no/such/route/at/all`);
  await readFrom(`${standIn.origin}/_received`);
  const { text } = await readFrom(`${standIn.origin}/_received`);
  expect(JSON.parse(text)).toEqual({
    requests: 4,
    resources: { Observation: 1, Device: 1 },
    versions: { 'Observation/counted': 2, 'Device/unit': 1 },
  });
});
