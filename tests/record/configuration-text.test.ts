/** The configuration as text: canonical, and read back as what it was. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { readConfigurations, writeConfiguration } from '../../src/configuration/configuration-text.ts';
import { defaultProfiles } from '../../src/configuration/profiles.ts';
import type { Configuration } from '../../src/domain/vocabulary/configuration.ts';
import { DEFAULT_SETTINGS } from '../../src/domain/vocabulary/settings.ts';
import { DEFAULT_OBSERVATIONS, DEFAULT_UNITS } from '../../src/intake/hl7v2/default-table.ts';
import { DEFAULT_TABLE } from '../../src/rules/default-table.ts';
import { MAPPING } from '../hl7v2/messages.ts';
import { configuration } from '../support/configurations.ts';

const SHIPPED: Configuration = {
  algorithm: '1',
  settings: DEFAULT_SETTINGS,
  profiles: defaultProfiles(),
  rules: DEFAULT_TABLE,
  calendar: { zone: 'Europe/Berlin', dayStart: 450, shiftStarts: [0, 450, 1170] },
  terminology: { snomed: false, categories: { level: 'survey' } },
};

const stored = (body: string, seq = 1, recordedAt = '2026-03-01T08:00:00.250Z') => ({
  seq,
  recordedAt,
  hash: 'of no matter here',
  body,
});
const RECORDED_MS = Date.UTC(2026, 2, 1, 8, 0, 0, 250);

const read = (body: string) => {
  const [version] = readConfigurations([stored(body)]);
  if (version === undefined) throw new Error('nothing was read');
  return version;
};

describe('what is written', () => {
  test('is read back as it was, with every digit, and written the same again', () => {
    fc.assert(
      fc.property(configuration, (chosen) => {
        const text = writeConfiguration(chosen);
        const { from, version, ...back } = read(text);
        expect(back).toEqual(chosen);
        expect({ from, version }).toEqual({ from: RECORDED_MS, version: '1' });
        expect(writeConfiguration(back)).toBe(text);
      }),
      { numRuns: 300 },
    );
  });

  test('is read back with how HL7 v2 messages are read, where that is chosen', () => {
    const hl7v2 = {
      ...MAPPING,
      observations: DEFAULT_OBSERVATIONS,
      units: DEFAULT_UNITS,
      zone: 'Europe/Berlin',
    };
    expect(read(writeConfiguration({ ...SHIPPED, hl7v2 })).hl7v2).toEqual(hl7v2);
    expect('hl7v2' in read(writeConfiguration(SHIPPED))).toBe(false);
  });

  test('is all of what ships', () => {
    const { from: _from, version: _version, ...back } = read(writeConfiguration(SHIPPED));
    expect(back).toEqual(SHIPPED);
    expect([...back.profiles.keys()]).toHaveLength(defaultProfiles().size);
    expect(back.rules.rules).toHaveLength(DEFAULT_TABLE.rules.length);
  });

  test('has its members in the order of RFC 8785, 3.2.3, and no white space', () => {
    // Sorted by a replacer of the language's own writer: keys by UTF-16 code units, as the RFC says.
    const sorted = (_key: string, value: unknown): unknown =>
      typeof value === 'object' && value !== null && !Array.isArray(value)
        ? Object.fromEntries(Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1)))
        : value;
    const text = writeConfiguration(SHIPPED);
    expect(text).toBe(JSON.stringify(JSON.parse(text), sorted));
    expect(Object.keys(JSON.parse(text))).toEqual([
      ...['algorithm', 'calendar', 'profiles', 'rules', 'settings', 'terminology'],
    ]);
    expect(JSON.parse(text).calendar).toEqual({
      day_start: '07:30',
      shift_starts: ['00:00', '07:30', '19:30'],
      zone: 'Europe/Berlin',
    });
  });

  test('does not depend on the order of profiles, but does on that of rows', () => {
    const profiles = new Map([...SHIPPED.profiles].reverse());
    expect(writeConfiguration({ ...SHIPPED, profiles })).toBe(writeConfiguration(SHIPPED));
    const rules = { ...SHIPPED.rules, rules: SHIPPED.rules.rules.toReversed() };
    expect(writeConfiguration({ ...SHIPPED, rules })).not.toBe(writeConfiguration(SHIPPED));
  });
});

/** One row of each quantity, as the first release wrote them: to be read for as long as there are ledgers. */
const FIRST_RELEASE = `{"algorithm":"1","calendar":{"day_start":"07:00","shift_starts":["07:00","19:00"],"zone":"UTC"},"profiles":[{"capacity_ml":2000,"graduations":[{"mark_ml":5,"up_to_ml":200},{"mark_ml":10.0,"up_to_ml":2000}],"id":"wet-2000","kind":"wet-suction","leak_scale_max":5,"seal_fill_cmh2o":2,"seal_fill_counts":false,"seal_reading_includes_fill":false}],"rules":{"reading_every_h":{"adult":4,"paediatric":0.5},"rules":[
{"basis":"all-tubes","changed":["threshold is 250.50, not 300 as published"],"clock":{"from_h":0,"origin":"chest-closure","to_h":1},"evidence":"abstract or text seen","fluids":null,"id":"a","indications":["cardiac-surgery"],"max_gap_h":2,"on":true,"operator":">","populations":["adult"],"quantity":"volume","sites":null,"source":"s","threshold":250.50,"title":"t","unit":"mL","window_h":1.5},
{"basis":"one-tube","changed":[],"clock":{"from_h":0,"origin":"none","to_h":null},"evidence":"local","fluids":["serous"],"id":"b","indications":null,"max_gap_h":2,"on":false,"operator":">=","populations":null,"quantity":"rate","sites":null,"source":"s","threshold":200,"title":"t","unit":"mL/h","consecutive_h":2},
{"basis":"one-tube","changed":[],"clock":{"from_h":0,"origin":"none","to_h":null},"evidence":"common practice, no source","fluids":null,"id":"c","indications":null,"max_gap_h":2,"on":true,"operator":">","populations":null,"quantity":"total-negativity","sites":null,"source":"s","threshold":20,"title":"t","unit":"cm[H2O]"},
{"basis":"one-tube","changed":[],"clock":{"from_h":0,"origin":"none","to_h":null},"evidence":"secondary text","fluids":null,"id":"d","indications":null,"max_gap_h":2,"on":true,"operator":">=","populations":null,"quantity":"chamber-fill","sites":null,"source":"s","threshold":0.75,"title":"t","unit":"1"},
{"basis":"one-tube","changed":[],"clock":{"from_h":0,"origin":"none","to_h":null},"evidence":"from memory","fluids":null,"id":"e","indications":null,"max_gap_h":2,"on":true,"operator":">","populations":null,"quantity":"unexplained-fall","sites":null,"source":"s","threshold":0,"title":"t","unit":"mL"},
{"basis":"one-tube","changed":[],"clock":{"from_h":0,"origin":"none","to_h":null},"evidence":"from memory","fluids":null,"id":"f","indications":null,"max_gap_h":2,"on":true,"operator":">","populations":null,"quantity":"swing-lost","sites":["pleural-left"],"source":"s","threshold":0,"title":"t","unit":"1"},
{"basis":"one-tube","changed":[],"clock":{"from_h":0,"origin":"none","to_h":null},"evidence":"from memory","fluids":null,"id":"g","indications":null,"max_gap_h":2,"on":true,"operator":">","populations":null,"quantity":"leak-days","sites":null,"source":"s","threshold":5,"title":"t","unit":"d"},
{"basis":"one-tube","changed":[],"clock":{"from_h":0,"origin":"none","to_h":null},"evidence":"from memory","fluids":null,"id":"h","indications":null,"max_gap_h":2,"on":true,"operator":"<","populations":null,"quantity":"output-stopping","sites":null,"source":"s","steady_h":4,"steady_ml_h":20.0,"threshold":2.5,"title":"t","unit":"mL/h","window_h":2}],"version":"ward-1"},"settings":{"clock_skew_ms":60000,"double_entry_ms":300000,"max_future_ms":300000,"max_gap_ms":7200000,"max_weight_age_ms":{"adult":2592000000,"paediatric":86400000},"min_rate_interval_ms":900000,"sudden_jump":{"microlitres":500000,"within_ms":3600000},"trailing_hours":[1,4,8,12,24],"version":"1"}}`;

describe('what is read', () => {
  test('of the first release stays readable, digits and all', () => {
    const { rules, profiles, settings, calendar, terminology } = read(FIRST_RELEASE);
    expect(terminology).toEqual({ snomed: true, categories: {} });
    const figures = ['250.50', '200', '20', '0.75', '0', '0', '5', '2.5'];
    expect(rules.rules.map(({ threshold }) => threshold.text)).toEqual(figures);
    expect(rules.rules[7]).toMatchObject({ steady_h: 4, steady_ml_h: { text: '20.0', thousandths: 20_000 } });
    expect(rules.rules[0]).toMatchObject({ window_h: 1.5, clock: { from_h: 0, to_h: 1 } });
    expect(rules.reading_every_h).toEqual({ adult: 4, paediatric: 0.5 });
    expect(profiles.get('wet-2000')?.graduations[1]?.mark_ml).toMatchObject({
      text: '10.0',
      thousandths: 10_000,
    });
    expect(settings.max_weight_age_ms.adult).toBe(30 * 24 * 3_600_000);
    expect(calendar).toEqual({ zone: 'UTC', dayStart: 420, shiftStarts: [420, 1140] });
  });

  test('keeps the order, with the number and the time of each', () => {
    const versions = readConfigurations([
      stored(FIRST_RELEASE, 1, '2026-03-01T08:00:00.000Z'),
      stored(writeConfiguration(SHIPPED), 2, '2026-03-02T08:00:00.000Z'),
    ]);
    expect(versions.map(({ version, from }) => [version, from])).toEqual([
      ['1', Date.UTC(2026, 2, 1, 8)],
      ['2', Date.UTC(2026, 2, 2, 8)],
    ]);
  });

  test.each([
    ['a threshold in quotes', '"threshold":200', '"threshold":"200"', /rules\.rules\[1\]\.threshold/],
    ['a quantity that is not known', '"quantity":"rate"', '"quantity":"speed"', /rules\.rules\[1\]/],
    ['a member that is not known', '"algorithm":"1"', '"algorithm":"1","more":1', /more/],
    ['a setting less', '"clock_skew_ms":60000,', '', /settings\.clock_skew_ms/],
    ['no gap', '"max_gap_h":2,"on":false', '"on":false', /rules\.rules\[1\]\.max_gap_h/],
    ['no time of day', '"day_start":"07:00"', '"day_start":"7"', /calendar\.day_start/],
  ])('with %s is refused by name, not guessed', (_name, from, to, where) => {
    const text = FIRST_RELEASE.replace(from, to);
    expect(text).not.toBe(FIRST_RELEASE);
    const all = [stored(FIRST_RELEASE), stored(text, 2)];
    expect(() => readConfigurations(all)).toThrow(
      /^version 2 of the configuration in the ledger cannot be read/,
    );
    expect(() => readConfigurations(all)).toThrow(where);
  });

  test('that is no JSON, or has no time, is refused by name', () => {
    expect(() => read('{')).toThrow(/^version 1 of the configuration/);
    expect(() => readConfigurations([stored(FIRST_RELEASE, 3, 'yesterday')])).toThrow(
      /^version 3 .*'yesterday'/,
    );
  });
});
