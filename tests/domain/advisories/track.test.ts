/** A track told in parts is the track told at once, wherever it was cut. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  type Finding,
  NOT_OF_VOLUME,
  type Outcome,
  WITHOUT_NUMBER,
} from '../../../src/domain/advisories/finding.ts';
import { extended, stretchesSince, type Track, upTo } from '../../../src/domain/advisories/track.ts';
import { rational } from '../../../src/domain/numbers/rational.ts';
import { epochMs } from '../../../src/domain/numbers/units.ts';

const finding = (minute: number, value: number): Finding => ({
  ...{ at: epochMs(minute), at_text: `m${minute}`, ...NOT_OF_VOLUME, ...WITHOUT_NUMBER },
  value: rational(value),
  entries: [],
});

const outcomeAt = (minute: number, kind: number): Outcome => {
  const moment = { at: epochMs(minute), at_text: `m${minute}` };
  if (kind < 40) return { state: 'clear', ...moment };
  if (kind < 60)
    return { state: 'not-assessable', ...moment, reason: kind < 50 ? 'not-covered' : 'no-weight' };
  return { state: 'raised', finding: finding(minute, kind) };
};

/** Long enough that stretches are cut at their length, with several outcomes at one instant now and then. */
const outcomes = fc.array(fc.tuple(fc.nat(2), fc.nat(99)), { minLength: 1, maxLength: 300 }).map((steps) => {
  let minute = 0;
  return steps.map(([step, kind]) => {
    minute += step;
    // Few changes of kind, so that stretches grow long.
    return outcomeAt(minute, Math.floor(minute / 90) % 2 === 0 ? 0 : kind);
  });
});

const timeOf = (outcome: Outcome): number => ('finding' in outcome ? outcome.finding.at : outcome.at);

/** What readers make of a track: episodes that ended or stand, and how often it could not be assessed. */
function read(track: Track) {
  const stretches = stretchesSince(track, null);
  return {
    ended: stretches.flatMap((s) => (s.state === 'clear' && s.ended !== null ? [[s.first_at, s.ended]] : [])),
    open: track !== null && 'open' in track.item ? track.item.open : null,
    missed: stretches.reduce((sum, s) => sum + (s.state === 'not-assessable' ? s.times : 0), 0),
    times: stretches.reduce((sum, s) => sum + s.times, 0),
  };
}

describe('a track', () => {
  it('cut at a moment and told again from there says what it said', () => {
    fc.assert(
      fc.property(outcomes, fc.integer({ min: -1, max: 620 }), (all, cut) => {
        const whole = extended(null, all);
        const { kept, after } = upTo(whole, epochMs(cut));
        expect(kept?.item.to ?? -Infinity).toBeLessThanOrEqual(after);
        expect(after).toBeLessThanOrEqual(cut);
        const again = extended(
          kept,
          all.filter((outcome) => timeOf(outcome) > after),
        );
        expect(read(again)).toEqual(read(whole));
        expect(read(whole).times).toBe(all.length);
      }),
      { numRuns: 300 },
    );
  });

  it('forgets little when it is cut: no more than one stretch and what shares its first instant', () => {
    const calm = Array.from({ length: 1000 }, (_, minute) => outcomeAt(minute, 0));
    const { kept } = upTo(extended(null, calm), epochMs(500));
    expect(kept?.item.to).toBeGreaterThan(500 - 64);
  });

  it('keeps the first, the largest and the last finding of an episode through what cannot be assessed', () => {
    const track = extended(null, [
      outcomeAt(1, 70),
      outcomeAt(2, 90),
      outcomeAt(3, 45),
      outcomeAt(4, 80),
      outcomeAt(5, 0),
    ]);
    const [ended] = read(track).ended;
    expect(ended).toMatchObject(['m5', { raised: { at: 1 }, peak: { at: 2 }, newest: { at: 4 } }]);
  });

  it('cut where a stretch ends forgets nothing of it', () => {
    const track = extended(null, [outcomeAt(1, 70), outcomeAt(2, 0), outcomeAt(5, 70)]);
    expect(upTo(track, epochMs(2))).toMatchObject({ kept: { item: { state: 'clear', to: 2 } }, after: 2 });
    expect(upTo(track, epochMs(4))).toMatchObject({ kept: { item: { state: 'clear', to: 2 } }, after: 4 });
  });

  it.each([
    ['clear', 0],
    ['not-assessable', 45],
    ['raised', 70],
  ])('that says %s 150 times holds it three times, in stretches of 64 at most', (state, kind) => {
    const same = Array.from({ length: 150 }, (_, minute) => outcomeAt(minute, kind));
    const stretches = stretchesSince(extended(null, same), null);
    expect(stretches.map(({ from, to, times }) => [from, to, times])).toEqual([
      [0, 63, 64],
      [64, 127, 64],
      [128, 149, 22],
    ]);
    expect(new Set(stretches.map((stretch) => stretch.state))).toEqual(new Set([state]));
  });

  it('read on from an earlier form of it begins with the stretch that may have become longer', () => {
    const earlier = extended(null, [outcomeAt(1, 70), outcomeAt(2, 0)]);
    const later = extended(earlier, [outcomeAt(3, 0), outcomeAt(4, 70)]);
    expect(stretchesSince(later, earlier)).toMatchObject([
      { state: 'clear', from: 2, to: 3 },
      { state: 'raised', from: 4, to: 4 },
    ]);
  });
});
