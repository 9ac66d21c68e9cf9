/** The encoding rules of HL7 v2.6, chapter 2, against its own examples (from memory) and as laws. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { defaultProfiles } from '../../src/configuration/profiles.ts';
import { ASCII, charsetNamed, charsetOf, textIn } from '../../src/intake/hl7v2/charset.ts';
import { type Er7, escaped, parseEr7, repetitions, textAt } from '../../src/intake/hl7v2/er7.ts';
import { Unreadable } from '../../src/intake/hl7v2/fault.ts';
import { momentOf } from '../../src/intake/hl7v2/moment.ts';
import { readResults } from '../../src/intake/hl7v2/read-results.ts';
import { MAPPING } from './messages.ts';

const latin1 = (bytes: Buffer): string => bytes.toString('latin1');
const read = (text: string) => {
  const er7 = parseEr7(text, latin1);
  return {
    er7,
    at: (n: number, field: number, within = {}) => {
      const segment = er7.segments[n];
      if (segment === undefined) throw new Error(`there is no segment ${n}`);
      return textAt(er7, segment, field, within);
    },
  };
};

describe('a message', () => {
  test('is cut at separators of its own choice, and MSH-1 is the first of them', () => {
    const { er7, at } = read('MSH*!~\\&*APP\rPID*1**a!b&c~d\r\n');
    expect(er7.segments.map(({ name }) => name)).toEqual(['MSH', 'PID']);
    expect([at(0, 1), at(0, 3)]).toEqual(['*', 'APP']);
    const [, pid] = er7.segments;
    expect(pid && repetitions(er7, pid, 3)).toEqual(['a!b&c', 'd']);
    expect([at(1, 3), at(1, 3, { component: 2 }), at(1, 3, { component: 2, subcomponent: 2 })]).toEqual([
      'a',
      'b',
      'c',
    ]);
    expect([at(1, 3, { component: 9 }), at(1, 40)]).toEqual(['', '']);
  });

  test('may name a fifth separator, of truncation (HL7 v2.7)', () => {
    expect(read('MSH|^~\\&#|APP\r').at(0, 3)).toBe('APP');
  });

  test.each([
    [
      'highlighting (2.7.3)',
      '    TOTAL CHOLESTEROL         \\H\\240*\\N\\     [90 - 200]',
      '    TOTAL CHOLESTEROL         240*     [90 - 200]',
    ],
    ['separators (2.7.1)', 'a\\F\\b\\S\\c\\T\\d\\R\\e\\E\\f', 'a|b^c&d~e\\f'],
    ['bytes in hexadecimal (2.7.5)', '\\X41e4\\', 'Aä'],
    ['a line that ends (2.7.6)', 'one\\.br\\two', 'one\ntwo'],
  ])('has escapes: %s', (_, sent, said) => {
    expect(read(`MSH|^~\\&|APP\rNTE|1||${sent}\r`).at(1, 3)).toBe(said);
  });

  test.each(['\\', 'a\\Q\\', 'a\\F', '\\X4\\', '\\Z1\\', '\\C2842\\', '\\F\\\\', '\\x41\\'])(
    'does not guess what %s means',
    (sent) => {
      expect(() => read(`MSH|^~\\&|APP\rNTE|1||${sent}\r`).at(1, 3)).toThrow(Unreadable);
    },
  );
});

const separators = fc
  .shuffledSubarray([...'|^~\\&#*!$%;:'], { minLength: 5, maxLength: 5 })
  .map(([field = '', component = '', repetition = '', escaping = '', subcomponent = '']) => ({
    ...{ field, component, repetition, escaping, subcomponent },
  }));

test('what is escaped is read back as it was, whatever the separators', () => {
  fc.assert(
    fc.property(separators, fc.string(), (own, text) => {
      const { field, component, repetition, escaping, subcomponent } = own;
      const head = `MSH${field}${component}${repetition}${escaping}${subcomponent}${field}APP`;
      const back = read(`${head}\rNTE${field}${field}${escaped(text, own)}\r`).at(1, 2);
      expect(back).toBe(text);
    }),
    { numRuns: 500 },
  );
});

test('whatever the bytes, they are read or said to be unreadable', () => {
  const settings = { mapping: MAPPING as never, profiles: defaultProfiles() };
  const piece = fc.oneof(
    fc.constantFrom(
      '\r',
      '|',
      '^',
      '~',
      '\\',
      '&',
      'OBX',
      'OBR|1||o',
      'PID',
      'PV1',
      'NTE',
      'PRT',
      'NM',
      'F',
      '20250301090000',
    ),
    fc.constantFrom('157740^^MDC', '263762^^MDC', '\\X41\\', '""'),
    fc.string({ maxLength: 6 }),
  );
  const text = fc.array(piece, { maxLength: 60 }).map((all) => `MSH|^~\\&|A\r${all.join('')}`);
  const bytes = fc.oneof(
    text.map((each) => Buffer.from(each, 'latin1')),
    fc.uint8Array({ maxLength: 80 }).map((each) => Buffer.from(each)),
  );
  let reads = 0;
  fc.assert(
    fc.property(bytes, (sent) => {
      let er7: Er7;
      try {
        const charset = charsetOf(sent);
        er7 = parseEr7(textIn(sent, charset), latin1);
      } catch (error) {
        expect(error).toBeInstanceOf(Unreadable);
        return;
      }
      // What has been parsed is read, or its faults are told: nothing is thrown any more.
      reads += 'faults' in readResults(er7, settings) ? 0 : 1;
    }),
    { numRuns: 2000 },
  );
  expect(reads).toBeGreaterThan(10);
});

describe('times', () => {
  const place = { segment: 'OBX', sequence: 1, field: 14 };
  test.each([
    ['20250301090000+0100', '', undefined, '2025-03-01T09:00:00+01:00'],
    ['202503010900', '+0100', undefined, '2025-03-01T09:00:00+01:00'],
    ['20250301090000.1230-0500', '+0100', undefined, '2025-03-01T09:00:00.123-05:00'],
    // The zone database of IANA: Berlin is an hour ahead in winter, two in summer.
    ['20250301090000', '', 'Europe/Berlin', '2025-03-01T09:00:00+01:00'],
    ['20250701090000', '', 'Europe/Berlin', '2025-07-01T09:00:00+02:00'],
  ])('%s (offset of MSH-7 %j, zone %s)', (dtm, offset, zone, expected) => {
    expect(momentOf(dtm, { offset, zone }, place)).toBe(expected);
  });
  test.each([
    ['20250301', ''],
    ['20250301090000', undefined],
    // The clock in Berlin showed it twice, and another it never showed.
    ['20251026023000', 'Europe/Berlin'],
    ['20250330023000', 'Europe/Berlin'],
    ['2025-03-01T09:00:00Z', 'UTC'],
  ])('%s is not guessed (zone %s)', (dtm, zone) => {
    expect(() => momentOf(dtm, { offset: '', zone: zone || undefined }, place)).toThrow(Unreadable);
  });
});

/** A sample of IHE PCD-01 and the Continua WAN interface, from memory, its names invented: a weight of a scale, with its containment tree. */
const SAMPLE = [
  'MSH|^~\\&|GATEWAY^ACDE48234567ABCD^EUI-64||||20090713090030-0500||ORU^R01^ORU_R01|MSGID1234|P|2.6|||NE|AL|||||IHE PCD ORU-R01 2006^HL7^2.16.840.1.113883.9.n.m^HL7',
  'PID|||789567^^^Invented Hospital^PI||Invented^Canary^^^^^L^A|||M',
  'OBR|1|AB12345^GATEWAY^ACDE48234567ABCD^EUI-64|CD12345^GATEWAY^ACDE48234567ABCD^EUI-64|182777000^monitoring of patient^SCT|||20090813095715-0500',
  'OBX|1|CWE|68220^MDC_TIME_SYNC_PROTOCOL^MDC|0.0.0.1|532224^MDC_TIME_SYNC_NONE^MDC||||||R',
  'OBX|2||528399^MDC_DEV_SPEC_PROFILE_SCALE^MDC|1|||||||X|||||||0123456789ABCDEF^^0123456789ABCDEF^EUI-64',
  'OBX|3|NM|188736^MDC_MASS_BODY_ACTUAL^MDC|1.0.0.1|80|263875^MDC_DIM_KILO_G^MDC|||||R|||20090813095715-0500||||0123456789ABCDEF^^0123456789ABCDEF^EUI-64',
];

test('a sample of IHE PCD-01 is read as what it says', () => {
  const rows = [
    { code: '188736', system: 'MDC', reads: 'body-weight' },
    { code: '68220', system: 'MDC', reads: null },
  ];
  const units = [{ code: '263875', system: 'MDC', ucum: 'kg' }];
  const mapping = {
    ...MAPPING,
    drain: { field: 'OBR-2', system: 'urn:example:ward' },
    observations: rows,
    units,
  };
  const result = readResults(parseEr7(`${SAMPLE.join('\r')}\r`, latin1), {
    mapping: mapping as never,
    profiles: defaultProfiles(),
  });
  if ('faults' in result) throw new Error(JSON.stringify(result.faults));
  const [telling, ...more] = result.tellings;
  expect(more).toEqual([]);
  expect(telling).toMatchObject({
    of: { drain: { system: 'urn:example:ward', value: 'AB12345' } },
    author: { type: 'device', identifier: { value: '0123456789ABCDEF' } },
    says: { kind: 'weighed', weight_kg: { text: '80' }, effective_at: '2009-08-13T09:57:15-05:00' },
  });
  expect(telling?.source).not.toContain('Canary');
});

test('text is read only in the character set that is named', () => {
  const sent = Buffer.from('MSH|^~\\&|A', 'latin1');
  expect(charsetOf(sent)).toBe(ASCII);
  expect(() => textIn(Buffer.from([0xe4]), charsetNamed('UNICODE UTF-8'))).toThrow(Unreadable);
  expect(textIn(Buffer.from([0xe4]), charsetNamed('8859/1'))).toBe('ä');
});
