/** Observations that cannot be charted: each with its element (FHIR R4 valueset-issue-type.html), and nothing written. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { concept, level, part, quantity, raw, UCUM, value } from './fhir-messages.ts';
import { issueOf, openWard, type Ward } from './fhir-ward.ts';
import { at, id, placeDrain } from './messages.ts';

let ward: Ward;

beforeAll(async () => {
  ward = await openWard();
});
afterAll(() => ward.service.stop());

describe('what is refused, with its element, and nothing written', () => {
  const good = quantity(10, 'mL');
  test.each([
    ['a derived code', raw('x', 'net-drainage', '09:00', good), 'business-rule', 'Observation.code'],
    [
      'a derived LOINC code beside a raw one',
      level('x', '09:00', 1, {
        code: { coding: [...concept('level').coding, { system: 'http://loinc.org', code: '9129-8' }] },
      }),
      'business-rule',
      'Observation.code',
    ],
    ['an unknown code', raw('x', 'mood', '09:00', good), 'code-invalid', 'Observation.code'],
    [
      'a code with two meanings',
      level('x', '09:00', 1, {
        code: { coding: [...concept('level').coding, ...concept('seal-level').coding] },
      }),
      'code-invalid',
      'Observation.code',
    ],
    [
      'imposed suction without its source',
      raw('x', 'imposed-suction', '09:00', quantity(20, 'cm[H2O]')),
      'code-invalid',
      'Observation.code',
    ],
    ['a unit of another kind', level('x', '09:00', 1, quantity(1, 'kg')), 'value', 'Observation.value'],
    [
      'a unit that is not UCUM',
      raw('x', 'seal-level', '09:00', quantity(2, 'cmH2O')),
      'value',
      'Observation.value',
    ],
    [
      'a unit of no system',
      level('x', '09:00', 1, { valueQuantity: { value: 1, code: 'mL' } }),
      'required',
      'Observation.valueQuantity.system',
    ],
    [
      'a bound',
      level('x', '09:00', 1, { valueQuantity: { value: 1, comparator: '>', system: UCUM, code: 'mL' } }),
      'value',
      'Observation.valueQuantity.comparator',
    ],
    ['a negative level', level('x', '09:00', -1), 'value', 'Observation.value'],
    ['no value', raw('x', 'level', '09:00'), 'required', 'Observation.value'],
    [
      'a value of another type',
      raw('x', 'level', '09:00', { valueString: '12' }),
      'value',
      'Observation.value',
    ],
    [
      'a reason in place of a value',
      raw('x', 'level', '09:00', { dataAbsentReason: concept('unknown', 'x') }),
      'value',
      'Observation.dataAbsentReason',
    ],
    [
      'a value that is not in its set',
      raw('x', 'tidaling', '09:00', value('tidaling-maybe')),
      'code-invalid',
      'Observation.value',
    ],
    [
      'no offset',
      level('x', '09:00', 1, { effectiveDateTime: '2025-03-01T09:00:00' }),
      'value',
      'Observation.effectiveDateTime',
    ],
    ['no time', level('x', '09:00', 1, { effectiveDateTime: null }), 'required', 'Observation.effective'],
    [
      'a period',
      level('x', '09:00', 1, { effectiveDateTime: null, effectivePeriod: {} }),
      'value',
      'Observation.effectivePeriod',
    ],
    [
      'two times',
      level('x', '09:00', 1, { effectiveInstant: at('09:30') }),
      'value',
      'Observation.effectiveInstant',
    ],
    ['no identifier', level('x', '09:00', 1, { identifier: null }), 'required', 'Observation.identifier'],
    ['no drain', level('x', '09:00', 1, { focus: null }), 'required', 'Observation.focus'],
    [
      'an unknown drain',
      level('x', '09:00', 1, { focus: [{ identifier: id('nowhere') }] }),
      'business-rule',
      'Observation.focus[0].identifier',
    ],
    ['nobody who saw it', level('x', '09:00', 1, { performer: null }), 'required', 'Observation.device'],
    [
      'another patient than the drain has',
      level('x', '09:00', 1, { subject: { reference: 'Patient/2' } }),
      'business-rule',
      'Observation.subject',
    ],
    [
      'a patient named in another way',
      level('x', '09:00', 1, { subject: { identifier: id('mrn-1') } }),
      'business-rule',
      'Observation.subject',
    ],
    [
      'a subject that is no patient',
      level('x', '09:00', 1, { subject: { reference: 'Group/2' } }),
      'value',
      'Observation.subject.reference',
    ],
    [
      'another side than the drain is on',
      level('x', '09:00', 1, { bodySite: concept('44788007', 'http://snomed.info/sct') }),
      'business-rule',
      'Observation.bodySite',
    ],
    [
      'a site that is not known here',
      level('x', '09:00', 1, { bodySite: concept('3341006', 'http://snomed.info/sct') }),
      'code-invalid',
      'Observation.bodySite',
    ],
    [
      'both sides',
      level('x', '09:00', 1, {
        bodySite: {
          coding: ['53727004', '44788007'].flatMap((code) => concept(code, 'http://snomed.info/sct').coding),
        },
      }),
      'code-invalid',
      'Observation.bodySite',
    ],
    [
      'a performer of a type that cannot be one',
      level('x', '09:00', 1, { performer: [{ reference: 'Device/7' }] }),
      'value',
      'Observation.performer[0]',
    ],
    ['a preliminary one', level('x', '09:00', 1, { status: 'preliminary' }), 'value', 'Observation.status'],
    [
      'one that never was true',
      level('x', '09:00', 1, { status: 'entered-in-error' }),
      'business-rule',
      'Observation.status',
    ],
    [
      'a modifier',
      level('x', '09:00', 1, { modifierExtension: [{}] }),
      'structure',
      'Observation.modifierExtension',
    ],
    [
      'a slip of the pen',
      level('x', '09:00', 1, { valueQuanttiy: 1 }),
      'structure',
      'Observation.valueQuanttiy',
    ],
    [
      'what is only charted beside others',
      raw('x', 'clamped', '09:00', { valueBoolean: true }),
      'business-rule',
      'Observation.code',
    ],
    [
      'parts of two entries',
      level('x', '09:00', 1, { component: [part('body-weight', quantity(70, 'kg'))] }),
      'business-rule',
      'Observation.component[0].code',
    ],
    [
      'a part twice',
      level('x', '09:00', 1, { component: [part('level', good)] }),
      'business-rule',
      'Observation.component[0].value.code',
    ],
    [
      'a bad part',
      raw('x', 'reading', '09:00', {
        component: [part('level', good), part('seal-level', quantity(2000, 'cm[H2O]'))],
      }),
      'value',
      'Observation.component[1].value',
    ],
  ] as const)('%s', async (_, body, code, element) => {
    const { status, text } = await ward.post(body);
    expect(status, text).toBe(422);
    const issue = issueOf(text);
    expect([issue.code, issue.expression?.[0]]).toEqual([code, element]);
    expect(issue.diagnostics).toMatch(/: \S/);
    expect(await ward.written()).toHaveLength(2);
  });

  test('a drain that is linked to nobody takes nothing that names a patient', async () => {
    await placeDrain(ward.service, 'unlinked', '08:00');
    const answer = await ward.post(level('x', '09:00', 1, { focus: [{ identifier: id('unlinked') }] }));
    expect([answer.status, issueOf(answer.text).expression]).toEqual([422, ['Observation.subject']]);
  });

  test('a query is refused', async () => {
    const { status, text } = await ward.post(level('x', '09:00', 1), {}, '/fhir/Observation?identifier=x');
    expect([status, issueOf(text).code]).toEqual([400, 'not-supported']);
  });
});
