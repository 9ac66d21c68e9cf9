import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { parseInstant, writeInstantLike } from '../../../src/domain/numbers/instant.ts';
import { epochMs } from '../../../src/domain/numbers/units.ts';

describe('a moment in time (RFC 3339, section 5.6; FHIR R4 dateTime)', () => {
  it.each([
    ['1985-04-12T23:20:50.52Z', 482196050520, 'RFC 3339, section 5.8'],
    ['1996-12-19T16:39:57-08:00', 851042397000, 'RFC 3339, section 5.8'],
    ['1937-01-01T12:00:27.873+00:20', -1041337172127, 'after RFC 3339, section 5.8'],
    ['2024-02-29T00:00:00Z', 1709164800000, 'a leap day'],
    ['2026-03-01T23:30:00+14:00', 1772357400000, 'the largest offset'],
    ['2026-03-01T00:00:00-00:00', 1772323200000, 'an offset of nothing'],
  ])('reads %s (%3$s)', (text, ms) => {
    expect(parseInstant(text)).toEqual({ text, ms });
  });

  it.each([
    ['no offset', '2026-03-01T08:00:00'],
    ['no seconds', '2026-03-01T08:00Z'],
    ['no time', '2026-03-01'],
    ['a space for the T', '2026-03-01 08:00:00Z'],
    ['29 February of a common year', '2026-02-29T08:00:00Z'],
    ['29 February 2100', '2100-02-29T08:00:00Z'],
    ['31 April', '2026-04-31T08:00:00Z'],
    ['month 13', '2026-13-01T08:00:00Z'],
    ['month 0', '2026-00-01T08:00:00Z'],
    ['day 0', '2026-03-00T08:00:00Z'],
    ['hour 24', '2026-03-01T24:00:00Z'],
    ['minute 60', '2026-03-01T08:60:00Z'],
    ['second 60 of any minute', '2026-03-01T08:30:60Z'],
    ['day 99', '2026-03-99T08:00:00Z'],
    ['a leap second', '2016-12-31T23:59:60Z'],
    ['an offset over 14 h', '2026-03-01T08:00:00+14:01'],
    ['an offset with 60 min', '2026-03-01T08:00:00+01:60'],
    ['an offset without colon', '2026-03-01T08:00:00+0100'],
    ['more than milliseconds', '2026-03-01T08:00:00.0001Z'],
    ['a point without digits', '2026-03-01T08:00:00.Z'],
    ['the year 0', '0000-03-01T08:00:00Z'],
    ['five digits of year', '12026-03-01T08:00:00Z'],
    ['lower case', '2026-03-01t08:00:00z'],
    ['text after it', '2026-03-01T08:00:00Z '],
    ['digits of another script', '２026-03-01T08:00:00Z'],
    ['nothing', ''],
  ])('refuses %s', (_, text) => {
    expect(parseInstant(text)).toBeUndefined();
  });

  it.each([
    ['2026-03-01T08:00:00+05:30', '2026-03-01T04:00:00+05:30'],
    ['2026-03-01T08:00:00Z', '2026-03-01T04:00:00Z'],
    ['2026-03-01T02:00:00.250-03:30', '2026-02-28T22:00:00.250-03:30'],
  ])('is written in the offset of another: 4 h before %s', (like, text) => {
    const end = parseInstant(like)?.ms ?? Number.NaN;
    expect(writeInstantLike(epochMs(end - 4 * 3_600_000), like)).toBe(text);
  });

  it('reads back what it wrote, in any offset', () => {
    const offset = fc.constantFrom('Z', '+00:00', '+14:00', '-09:30', '+05:45');
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 4_000_000_000_000 }), offset, (ms, offset) => {
        const text = writeInstantLike(epochMs(ms), `2026-03-01T08:00:00${offset}`);
        expect(parseInstant(text)?.ms).toBe(ms);
        expect(text.endsWith(offset)).toBe(true);
        if (offset === 'Z') expect(text).toBe(new Date(ms).toISOString().replace('.000Z', 'Z'));
      }),
    );
  });
});
