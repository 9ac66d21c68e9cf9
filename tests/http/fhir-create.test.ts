/**
 * What was read at the bedside, in as Observations. Sources: FHIR R4 http.html (create, conditional create, Prefer),
 * observation.html; UCUM: 1 L is 1000 mL, 1.96133 kPa are 20 cm H2O.
 */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { concept, level, part, quantity, raw, UCUM, value } from './fhir-messages.ts';
import { issueOf, openWard, type Ward } from './fhir-ward.ts';
import {
  content,
  corrected,
  id,
  level as nativeLevel,
  placeDrain,
  placement,
  setUp,
  tell,
} from './messages.ts';
import { startTestService } from './service.ts';

let ward: Ward;

beforeEach(async () => {
  ward = await openWard();
});
afterEach(() => ward.service.stop());

const FHIR = { 'content-type': 'application/fhir+json' };

describe('a create', () => {
  test('becomes the entry that it says, and comes back as what it is issued as', async () => {
    const sent = level('o1', '09:00', 0.12, quantity(0.12, 'L'));
    const answer = await ward.post(sent);
    expect(answer.status).toBe(201);
    const issued = JSON.parse(answer.text);
    expect(problemsOf(issued)).toEqual([]);
    expect(issued).toMatchObject({
      status: 'final',
      valueQuantity: { value: 120, code: 'mL', system: UCUM },
      subject: { reference: 'Patient/1' },
      performer: [{ reference: 'Practitioner/n1' }],
    });
    expect(issued.identifier).toContainEqual(id('o1'));
    const location = answer.headers.get('location') ?? '';
    expect(location).toBe(`${ward.service.url}/fhir/Observation/${issued.id}/_history/1`);
    expect(answer.headers.get('etag')).toBe('W/"1"');
    expect(await (await fetch(location)).text()).toBe(answer.text);
    const { body } = (await ward.written()).at(-1) ?? { body: {} };
    expect(body).toMatchObject({ kind: 'reading', level_ml: 120, author: { type: 'person' } });
    expect(JSON.parse((body.received as { resource: string }).resource)).toEqual(sent);
    expect((await ward.drain.row('o1')).interval?.net_ml).toBe(120);
  });

  test('is the same as the native entry in all that follows from it', async () => {
    const other = await startTestService();
    const twin = await placeDrain(other, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
    await tell(twin, setUp('up', '08:00', 0), nativeLevel('a', '09:00', 150), nativeLevel('b', '10:00', 260));
    expect((await ward.post(level('a', '09:00', 150))).status).toBe(201);
    expect((await ward.post(level('b', '10:00', 260))).status).toBe(201);
    for (const key of ['a', 'b']) expect(await ward.drain.row(key)).toEqual(await twin.row(key));
    await other.stop();
  });

  test('of several quantities at one look is one reading: total negativity needs all its parts', async () => {
    const answer = await ward.post(
      raw('r', 'reading', '10:00', {
        component: [
          part('level', quantity(200, 'mL')),
          part('suction-column', quantity(1.96133, 'kPa')),
          part('suction-bubbling', value('suction-bubbling-gentle')),
          part('suction-source', value('suction-source-on')),
          part('seal-level', quantity(5, 'cm[H2O]')),
          part('air-leak-grade', { valueInteger: 2 }),
          part('tidaling', { valueCodeableConcept: concept('52101004', 'http://snomed.info/sct') }),
          part('fluid-character', value('fluid-character-serous')),
          part('fluid-colour', { valueString: 'straw' }),
          part('clamped', { valueBoolean: false }),
        ],
      }),
    );
    expect(answer.status, answer.text).toBe(201);
    expect(JSON.parse(answer.text).code.coding[0].code).toBe('reading');
    const { body } = (await ward.written()).at(-1) ?? { body: {} };
    expect(body).toMatchObject({
      suction: { column_cmh2o: 20, bubbling: 'gentle', source: 'on' },
      air_leak: { grade: 2 },
      tidaling: 'present',
      fluid_character: 'serous',
      clamped: false,
    });
    // suction 20 + seal 5: common practice, no source
    expect((await ward.drain.row('r')).total_negativity?.value_cmh2o).toBe(25);
  });

  test.each([
    ['body-weight', quantity(70.5, 'kg'), { kind: 'weighed', weight_kg: 70.5 }],
    ['sampled-volume', quantity(20, 'mL'), { kind: 'sampled', volume_ml: 20 }],
    [
      'instilled-volume',
      { ...quantity(20, 'mL'), component: [part('instilled-purpose', value('instilled-purpose-flush'))] },
      { kind: 'instilled', volume_ml: 20, purpose: 'flush' },
    ],
    ['air-leak-grade', value('air-leak-grade-3'), { air_leak: { grade: 3 } }],
    ['suction-dial', quantity(20, 'cm[H2O]'), { suction: { dial_cmh2o: 20 } }],
  ] as const)('%s', async (code, more, expected) => {
    const answer = await ward.post(raw('x', code, '09:00', more));
    expect(answer.status, answer.text).toBe(201);
    expect((await ward.written()).at(-1)?.body).toMatchObject(expected);
    expect(JSON.parse(answer.text).identifier).toContainEqual(id('x'));
  });

  test('a LOINC code says the same; a device may be the author; our own id names the drain', async () => {
    const coded = raw('w', 'x', '09:00', {
      ...quantity(70, 'kg'),
      code: concept('29463-7', 'http://loinc.org'),
    });
    expect((await ward.post(coded)).status).toBe(201);
    const device = level('d', '09:30', 10, {
      performer: null,
      device: { identifier: id('monitor-1') },
      focus: [{ identifier: { system: 'http://example.org/drainledger/drain', value: ward.drain.drain } }],
    });
    expect((await ward.post(device)).status).toBe(201);
    expect((await ward.written()).at(-1)?.body.author).toEqual({
      type: 'device',
      identifier: id('monitor-1'),
    });
  });

  // Not through the check against the API reference, which knows one body a status.
  test('Prefer says what comes back', async () => {
    const preferring = async (preferred: string, key: string) => {
      const headers = { ...FHIR, prefer: `return=${preferred}` };
      const body = JSON.stringify(level(key, '09:00', 10));
      const answer = await fetch(`${ward.service.url}/fhir/Observation`, { method: 'POST', headers, body });
      return { answer, text: await answer.text() };
    };
    const minimal = await preferring('minimal', 'a');
    expect([minimal.answer.status, minimal.text]).toEqual([201, '']);
    expect(minimal.answer.headers.get('preference-applied')).toBe('return=minimal');
    expect(minimal.answer.headers.get('content-type')).toBeNull();
    const outcome = await preferring('OperationOutcome', 'b');
    expect([outcome.answer.status, issueOf(outcome.text).code]).toEqual([201, 'informational']);
    expect((await preferring('anything', 'c')).text).toContain('"resourceType":"Observation"');
  });
});

test('what a mark keeps out is recorded and issued later: 202, and its Observation once the mark is cleared', async () => {
  const early = await ward.post(level('early', '07:00', 10));
  expect(early.status, early.text).toBe(202);
  const { code, diagnostics } = issueOf(early.text);
  expect([code, diagnostics]).toEqual(['informational', expect.stringContaining('before-placement')]);
  expect(early.headers.get('location')).toBeNull();
  const path = `/fhir/Observation/${/Observation\/(\S+) appears/.exec(diagnostics)?.[1]}`;
  expect((await ward.service.send('GET', path)).status).toBe(404);
  await tell(
    ward.drain,
    corrected('c', 'placed', {
      kind: 'placed',
      ...content(placement('', '06:30', { patient: { reference: 'Patient/1' } })),
    }),
  );
  expect(JSON.parse((await ward.service.send('GET', path)).text).identifier).toContainEqual(id('early'));
  expect((await ward.post(level('early', '07:00', 10))).status).toBe(200);
});

describe('the same again', () => {
  test('the same message is answered with what it made; another under the same key is not taken', async () => {
    const first = await ward.post(level('k', '09:00', 10));
    const again = await ward.post(level('k', '09:00', 10));
    expect([again.status, again.text]).toEqual([200, first.text]);
    const other = await ward.post(level('k', '09:00', 11));
    expect(other.status).toBe(409);
    expect(issueOf(other.text)).toMatchObject({
      code: 'conflict',
      expression: ['Observation.identifier[0]'],
    });
    expect(await ward.written()).toHaveLength(3);
  });

  test('50 parallel identical conditional creates: one 201, forty-nine 200', async () => {
    const headers = { 'if-none-exist': 'identifier=urn:example:ward|k' };
    const answers = await Promise.all(
      Array.from({ length: 50 }, () => ward.post(level('k', '09:00', 10), headers)),
    );
    expect(answers.map(({ status }) => status).sort()).toEqual([...Array(49).fill(200), 201]);
    expect(
      new Set(answers.map(({ headers: { get } }, n) => get.call(answers[n]?.headers, 'location'))).size,
    ).toBe(1);
    expect(await ward.written()).toHaveLength(3);
  });

  test('50 parallel conditional creates that differ: one is written, the others are shown it', async () => {
    const headers = { 'if-none-exist': '?identifier=urn:example:ward|k', prefer: 'return=representation' };
    const answers = await Promise.all(
      Array.from({ length: 50 }, (_, n) => ward.post(level('k', '09:00', n), headers)),
    );
    expect(answers.map(({ status }) => status).sort()).toEqual([...Array(49).fill(200), 201]);
    expect(new Set(answers.map(({ text }) => text)).size).toBe(1);
  });

  test('If-None-Exist finds an entry that came by another door', async () => {
    await tell(ward.drain, nativeLevel('k', '09:00', 10));
    const found = await ward.post(level('k', '09:30', 99), {
      'if-none-exist': 'Observation?identifier=urn:example:ward|k',
    });
    expect(found.status).toBe(200);
    expect(JSON.parse(found.text).code.coding[0].code).toBe('reading');
    const placement = await ward.post(level('placed', '09:30', 99), {
      'if-none-exist': 'identifier=urn:example:ward|placed',
    });
    expect(placement.status).toBe(409);
  });

  test.each([
    'identifier=urn:example:ward|other',
    'identifier=k',
    'code=level',
    'identifier=urn:example:ward|k&status=final',
    '',
  ])('If-None-Exist %s is refused, never taken to match everything', async (criteria) => {
    const answer = await ward.post(level('k', '09:00', 10), { 'if-none-exist': criteria });
    expect(answer.status).toBe(412);
    expect(issueOf(answer.text).diagnostics).toContain('identifier=system|value');
    expect(await ward.written()).toHaveLength(2);
  });
});
