/** Refusals of the service in the words of the form: fields by label, with value and mend, never by their place in a message. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { type Json, setAt, writeJson } from '../../src/web/exact.ts';
import type { Field } from '../../src/web/field.ts';
import { allFieldsOf, EVENTS } from '../../src/web/fields.ts';
import { faultText, fieldOf, refusalText } from '../../src/web/refusal.ts';
import { id, NURSE, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

const zone = 'Europe/Berlin';
const now = Date.parse('2025-03-02T08:00:00Z');
const reading = { fields: allFieldsOf('reading'), zone, now };
const fault = (pointer: string, value: string, detail: string, mend: string) => ({
  pointer,
  value,
  detail,
  mend,
});
const problem = (slug: string, ...errors: readonly ReturnType<typeof fault>[]) => ({
  type: `urn:drainledger:problem:${slug}`,
  detail: 'Ask again in a moment.',
  errors,
});

describe('why an entry was not taken', () => {
  test('names each field by its label, with value and mend', () => {
    const errors = [
      fault('/level_ml', '999999', 'is over 100000', 'send at most 100000'),
      fault('/replacement/suction/column_cmh2o', '2000', 'is over 1000', 'send at most 1000'),
    ];
    expect(refusalText(problem('invalid-message', ...errors), reading)).toBe(
      'Level in the chamber: 999999 mL is over 100000: enter at most 100000; Suction column: 2000 cmH2O is over 1000: enter at most 1000',
    );
  });

  test('of two fields that do not fit each other stands at the one that the mend names, by its label', () => {
    const swing = fault(
      '/seal',
      '{"swing…',
      'has a swing whose low is above its high',
      'send the lower one as swing_low_cmh2o',
    );
    expect(fieldOf(swing, reading.fields)?.path).toBe('seal.swing_low_cmh2o');
    expect(faultText(swing, reading)).toBe(
      'has a swing whose low is above its high: enter the lower one as Swing of the seal, low',
    );
  });

  test('tells times as the clock on the wall shows them', () => {
    const [present, later] = ['2025-03-01T20:03:10.728Z', '2025-03-01T21:13:00+01:00'];
    const mend = `send a time no later than 5 minutes after now, ${present}`;
    expect(faultText(fault('/effective_at', `"${later}"`, 'in the future', mend), reading)).toBe(
      '1 Mar 21:13 in the future: enter a time no later than 5 minutes after now, 1 Mar 21:03',
    );
  });

  test('asks for something where nothing was entered', () => {
    const nothing = fault('', '{"author":…', 'charts nothing', 'send at least one of level_ml, suction');
    expect(faultText(nothing, reading)).toBe('Nothing is charted yet: fill in at least one field.');
  });

  test('says what became of an entry that somebody else has changed', () => {
    const mend = 'correct its newest form, urn:drainledger:page|4f';
    const changed = problem('not-the-chain-end', fault('/target', '"…"', 'not the chain end', mend));
    expect(refusalText(changed, reading)).toContain('corrected by somebody else meanwhile');
  });

  test('is what the service says where no field is named', () => {
    expect(refusalText(problem('busy'), reading)).toBe('Ask again in a moment.');
  });
});

describe('whatever is entered into a form', () => {
  let service: TestService;
  let drain: TestDrain;
  beforeAll(async () => {
    service = await startTestService();
    drain = await placeDrain(service, 'refused', '08:00');
    await tell(drain, setUp('up', '08:00', 0));
  });
  afterAll(() => service.stop());

  const WRONG: Readonly<Partial<Record<Field['type'], Json>>> = {
    number: { digits: '999999999' },
    moment: '8 in the morning',
    choice: 'no such choice',
    select: 'no such choice',
    text: 'x'.repeat(5000),
    lines: 'x'.repeat(5000),
  };
  const KINDS = ['reading', 'reviewed', ...EVENTS].map((kind) => [kind, allFieldsOf(kind)] as const);

  test.each(KINDS)('of %s and is refused is told without a name of the API', async (kind, fields) => {
    for (const field of fields) {
      if (WRONG[field.type] === undefined) continue;
      const body: Record<string, Json> = {
        ...{
          identifier: id(`${kind} ${field.path}`),
          author: NURSE,
          kind,
          effective_at: '2025-03-01T09:00:00Z',
        },
      };
      setAt(body, field.path, WRONG[field.type] ?? null);
      const { status, text } = await drain.enter(writeJson(body));
      expect([field.path, status]).toEqual([field.path, 422]);
      const errors = (JSON.parse(text).errors as ReturnType<typeof fault>[]).filter(({ pointer }) =>
        pointer.startsWith(`/${field.path.replaceAll('.', '/')}`),
      );
      for (const each of errors) {
        expect(fieldOf(each, fields)?.label).toBe(field.label);
        expect(faultText(each, { fields, zone, now })).not.toMatch(/_|(^|\s)\/|^send /);
      }
    }
  });
});
