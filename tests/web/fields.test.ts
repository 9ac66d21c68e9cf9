/** Every field of the page's forms is one that the service takes, with every option that can be chosen. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Json, setAt, writeJson } from '../../src/web/exact.ts';
import type { Field } from '../../src/web/field.ts';
import { EVENTS, fieldsOf } from '../../src/web/fields.ts';
import { id, NURSE, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

let service: TestService;
let drain: TestDrain;
beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'fields', '08:00');
  await tell(drain, setUp('up', '08:00', 0));
});
afterAll(() => service.stop());

const UNITS = ['gravity', 'wet-suction', 'dry-suction', 'electronic'] as const;
const profilesOf = async () => JSON.parse((await service.send('GET', '/v1/unit-profiles')).text).profiles;

const REFERENCES: Readonly<Record<string, string>> = {
  'patient.reference': 'Patient/1',
  'encounter.reference': 'Encounter/1',
};

/** All that may be entered into a field. */
function valuesOf(field: Field): readonly Json[] {
  switch (field.type) {
    case 'number':
      return [{ digits: '1' }];
    case 'choice':
    case 'select':
      return field.options.map(([value]) =>
        field.type === 'choice' && field.isNumber === true ? { digits: value } : value,
      );
    case 'yes-no':
      return [true, false];
    case 'moment':
      return ['2025-03-01T07:00:00+01:00'];
    default:
      if (field.path in REFERENCES) return [REFERENCES[field.path] ?? null];
      return field.isList === true ? [['A']] : ['words'];
  }
}

describe.each(UNITS)('on a unit of the kind %s', (unitKind) => {
  test.each(['reading', ...EVENTS, 'reviewed'])('%s', async (kind) => {
    const profiles = await profilesOf();
    const unit = profiles.find((each: { kind: string }) => each.kind === unitKind);
    const fields = fieldsOf(kind, unit, profiles);
    const most = Math.max(1, ...fields.map((field) => valuesOf(field).length));
    for (let n = 0; n < most; n += 1) {
      const content: Record<string, Json> = {
        kind,
        effective_at: '2025-03-01T09:00:00Z',
        author: NURSE,
        identifier: id(`${unitKind}-${kind}-${n}`),
      };
      if (kind === 'reviewed') content.advisory = 'any';
      for (const field of fields) {
        const values = valuesOf(field);
        setAt(content, field.path, values[n % values.length] ?? null);
      }
      const { status, text } = await service.send(
        'POST',
        `/v1/drains/${drain.drain}/entries?dry-run=true`,
        writeJson(content),
      );
      expect({ status, text: status === 200 ? '' : text, content }).toMatchObject({ status: 200 });
    }
  });
});

test('a placement', async () => {
  const fields = fieldsOf('placed', null, []);
  const content: Record<string, Json> = {
    effective_at: '2025-03-01T08:00:00Z',
    author: NURSE,
    identifier: id('placed-by-page'),
  };
  for (const field of fields) setAt(content, field.path, valuesOf(field)[0] ?? null);
  expect((await service.send('POST', '/v1/drains', writeJson(content))).status).toBe(201);
});

test('a kind that is not known here has no fields but time and note', () => {
  expect(fieldsOf('clamped', null, [])).toEqual([]);
});
