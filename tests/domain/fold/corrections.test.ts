import { describe, expect, it } from 'vitest';
import { decide, enter } from '../../../src/domain/decide.ts';
import {
  at,
  corrected,
  entryOf,
  instilled,
  intervalAt,
  level,
  onDrain,
  placed,
  refusalOf,
  rowOf,
  rowsOf,
  says,
  setUp,
  type Told,
  tell,
  voided,
} from '../../support/drain-script.ts';
import { DEFAULT_POLICY } from '../../support/policy.ts';

const START: readonly Told[] = [
  placed(),
  setUp('08:00', 0),
  level('a', '09:00', 250),
  level('b', '10:00', 300),
];
const named = (key: string) => `urn:example:test|${key}`;
const drained = (story: readonly Told[], key: string) => intervalAt(story, key)?.drained;

describe('a correction', () => {
  const once = [...START, corrected('a2', 'a', level('', '09:00', 205))];

  it('puts a whole new content in the place of the old, under the same name', () => {
    const row = rowOf(once, 'a');
    expect(drained(once, 'a')).toBe(205);
    expect(drained(once, 'b')).toBe(95);
    expect(row.item.identifier.value).toBe('a');
    expect(rowsOf(once).map(({ item }) => item.id)).not.toContain('a2');
  });

  it('of a correction names the newest entry of the chain', () => {
    const twice = [...once, corrected('a3', 'a2', level('', '09:00', 210))];
    expect(drained(twice, 'a')).toBe(210);
  });

  it('may move an entry in time', () => {
    const moved = [...START, corrected('a2', 'a', level('', '11:00', 350))];
    expect(drained(moved, 'b')).toBe(300);
    expect(drained(moved, 'a')).toBe(50);
    expect(rowsOf(moved).map(({ item }) => item.id)).toEqual(['placed', 'set-up', 'b', 'a']);
  });

  it('keeps the place of its chain among entries of one minute: by the first identifier', () => {
    const tied = [...START, instilled('m', '09:00', 10), instilled('k', '09:00', 20)];
    const mended = [...tied, corrected('a-late', 'm', instilled('', '09:00', 15))];
    expect(rowsOf(mended).map(({ item }) => item.id)).toEqual(rowsOf(tied).map(({ item }) => item.id));
  });

  it.each([
    [
      'an entry that is not there',
      corrected('x2', 'x', level('', '09:00', 1)),
      'unknown-target',
      '/target',
      named('x'),
    ],
    [
      'an entry of another drain',
      onDrain('d2', corrected('x2', 'a', level('', '09:00', 1))),
      'unknown-target',
      '/target',
      named('a'),
    ],
    [
      'what is no longer the end of the chain',
      corrected('a3', 'a', level('', '09:00', 1)),
      'not-the-chain-end',
      '/target',
      named('a'),
    ],
    [
      'the kind',
      corrected('a3', 'a2', instilled('', '09:00', 1)),
      'kind-differs',
      '/replacement/kind',
      'instilled',
    ],
  ])('is refused for %s', (_, told, refused, pointer, value) => {
    expect(refusalOf(once, told)).toMatchObject({ refused, pointer, value });
  });

  it.each([
    ['the end of the chain it should have named', corrected('a3', 'a', level('', '09:00', 1)), named('a2')],
    [
      'where to look for the target',
      corrected('x2', 'x', level('', '09:00', 1)),
      'an entry that is charted on this drain',
    ],
    ['the kind to send', corrected('a3', 'a2', instilled('', '09:00', 1)), "'reading'"],
    [
      'how to change the kind all the same',
      corrected('a3', 'a2', instilled('', '09:00', 1)),
      'enter it anew',
    ],
  ])('is told %s', (_, told, mend) => {
    expect(refusalOf(once, told)?.mend).toContain(mend);
  });

  it('is kept with its reason, which what was charted at first has none of', () => {
    expect(rowOf(once, 'a').item.correction).toBe('misread');
    expect(rowOf(once, 'b').item.correction).toBeNull();
  });

  it('must name the end of the chain by its system too, where another has the same value', () => {
    const { subject } = tell(START);
    const first = entryOf(corrected('a', 'a', level('', '09:00', 205)), 5);
    const identifier = { system: 'urn:example:other', value: 'a' };
    const moved = decide(subject, { ...first, body: { ...first.body, identifier } }, DEFAULT_POLICY);
    if ('refused' in moved) throw new Error(moved.refused);
    enter(subject, moved, DEFAULT_POLICY);
    const next = entryOf(corrected('a3', 'a', level('', '09:00', 210)), 6);
    expect(decide(subject, next, DEFAULT_POLICY)).toMatchObject({
      refused: 'not-the-chain-end',
      mend: expect.stringContaining('urn:example:other|a'),
    });
  });

  it('must name the system as well as the value of its target', () => {
    const elsewhere = entryOf(corrected('a3', 'a2', level('', '09:00', 1)), 99);
    if (elsewhere.body.kind !== 'corrected') throw new Error('a correction');
    const body = { ...elsewhere.body, target: { system: 'urn:example:other', value: 'a2' } };
    const decision = decide(tell(once).subject, { ...elsewhere, body }, DEFAULT_POLICY);
    expect(decision).toMatchObject({ refused: 'unknown-target', value: 'urn:example:other|a2' });
  });
});

describe('the patient of a drain', () => {
  const one = { patient: { reference: 'Patient/1', identifier: { system: 'urn:example:mrn', value: '1' } } };
  const other = { patient: { reference: 'Patient/2' } };
  const updated = (key: string, facts: object) => says(key, '09:00', 'drain-updated', facts);

  it.each([
    ['of a placement to another', [placed('08:00', one)], corrected('p2', 'placed', placed('08:00', other))],
    ['of a placement to none', [placed('08:00', one)], corrected('p2', 'placed', placed('08:00'))],
    ['of a placement from none', [placed('08:00')], corrected('p2', 'placed', placed('08:00', one))],
    ['of a later link', [placed(), updated('u', one)], corrected('u2', 'u', updated('', other))],
  ])('is not changed by a correction %s', (_, story, correction) => {
    expect(refusalOf(story, correction)).toMatchObject({
      refused: 'patient-differs',
      pointer: '/replacement/patient',
    });
  });

  it('is told who it has to stay, and how to change it all the same', () => {
    const refusal = refusalOf([placed('08:00', one)], corrected('p2', 'placed', placed('08:00', other)));
    expect(refusal?.value).toContain('Patient/2');
    expect(refusal?.mend).toContain('Patient/1');
    expect(refusal?.mend).toContain('enter it anew');
    const none = refusalOf([placed('08:00')], corrected('p2', 'placed', placed('08:00', one)));
    expect(none?.mend).toContain('leave the patient as none');
  });

  it('is another by another system or value of its identifier alone', () => {
    const by = (system: string, value: string) => ({ patient: { identifier: { system, value } } });
    const change = (to: object) =>
      refusalOf([placed('08:00', by('s', '1'))], corrected('p2', 'placed', placed('07:00', to)))?.refused;
    expect(change(by('s', '1'))).toBeUndefined();
    expect(change(by('t', '1'))).toBe('patient-differs');
    expect(change(by('s', '2'))).toBe('patient-differs');
  });

  it('is the same whatever the order of its members', () => {
    const { reference, identifier } = one.patient;
    const turned = {
      patient: { identifier: { value: identifier.value, system: identifier.system }, reference },
    };
    expect(refusalOf([placed('08:00', one)], corrected('p2', 'placed', placed('07:00', turned)))).toBeNull();
  });
});

describe('an entry entered in error', () => {
  const once = [...START, corrected('a2', 'a', level('', '09:00', 205))];

  it.each([
    ['its first entry', 'a'],
    ['its newest entry', 'a2'],
  ])('is void with its whole chain, named by %s', (_, target) => {
    const gone = [...once, voided('v', target)];
    expect(rowsOf(gone).map(({ item }) => item.id)).toEqual(['placed', 'set-up', 'b']);
    expect(drained(gone, 'b')).toBe(300);
  });

  it.each([
    ['a second withdrawal', voided('w', 'a')],
    ['a withdrawal of the withdrawal', voided('w', 'v')],
    ['a correction of the entry', corrected('a3', 'a2', level('', '09:00', 1))],
    ['a correction of the withdrawal', corrected('a3', 'v', level('', '09:00', 1))],
  ])('is final: %s is refused', (_, told) => {
    expect(refusalOf([...once, voided('v', 'a')], told)).toMatchObject({
      refused: 'already-void',
      value: named('a'),
    });
  });

  it('is told that it is final and to be entered anew', () => {
    const refusal = refusalOf([...once, voided('v', 'a')], voided('w', 'a'));
    expect(refusal).toMatchObject({ pointer: '/target', mend: expect.stringContaining('enter it anew') });
  });

  it('is unknown on another drain', () => {
    expect(refusalOf(once, onDrain('d2', voided('v', 'a')))).toMatchObject({ refused: 'unknown-target' });
  });

  it('may be entered anew under another key', () => {
    const anew = [...once, voided('v', 'a'), level('again', '09:00', 205)];
    expect(drained(anew, 'again')).toBe(205);
  });
});

describe('a late entry', () => {
  const lateness = (told: Told) => tell([...START, told]).accepted.at(-1)?.late;

  it.each([
    ['before the newest', level('x', '09:30', 260), true],
    ['at the minute of the newest', level('x', '10:00', 300), false],
    ['after the newest', level('x', '10:30', 310), false],
    ['a correction is none', corrected('x', 'a', level('', '09:00', 260)), false],
    ['a withdrawal is none', voided('x', 'a'), false],
  ])('is told apart: %s', (_, told, late) => {
    expect(lateness(told)).toBe(late);
  });

  it('gives back the row it made', () => {
    const accepted = tell([...START, level('x', '09:30', 260)]).accepted.at(-1);
    expect(accepted?.row?.volumes?.interval.drained).toBe(10_000);
    expect(accepted?.row?.item.content.effective_at).toBe(at('09:30'));
    expect(tell([...START, voided('x', 'a')]).accepted.at(-1)?.row).toBeNull();
  });
});
