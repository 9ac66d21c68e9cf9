/** A seeded story of several drains, with unit changes, flushes, corrections, retractions and late entries. */

/** A small repeatable source of randomness (mulberry32). */
export function seeded(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4_294_967_296;
  };
}

export interface Post {
  readonly drain: number;
  readonly key: string;
  readonly body: object;
}

const AUTHOR = { type: 'person', reference: 'Practitioner/e2e' } as const;
const START = Date.UTC(2026, 0, 10, 6);
const SYSTEM = 'urn:example:e2e';

const at = (minute: number): string => new Date(START + minute * 60_000).toISOString();
const common = (key: string, minute: number) => ({
  identifier: { system: SYSTEM, value: key },
  author: AUTHOR,
  effective_at: at(minute),
});

export function placementOf(drain: number): object {
  return {
    ...common(`d${drain}-placed`, 0),
    site: 'pleural-right',
    tubes: ['A'],
    population: 'adult',
    patient: { reference: `Patient/e2e-${Math.floor(drain / 2)}` },
  };
}

/** Posts of one drain in the order in which they must be sent. */
export function storyOf(drain: number, readings: number, random: () => number): Post[] {
  const posts: Post[] = [];
  const say = (key: string, minute: number, body: object) =>
    posts.push({ drain, key: `d${drain}-${key}`, body: { ...common(`d${drain}-${key}`, minute), ...body } });
  const target = (key: string) => ({
    target: { system: SYSTEM, value: `d${drain}-${key}` },
    reason: 'misread',
  });
  say('set-up', 0, { kind: 'set-up', profile: 'wet-2000', opening_level_ml: 0 });
  let level = 0;
  for (let n = 1; n <= readings; n += 1) {
    const minute = n * 30;
    level += Math.floor(random() * 20) * 5;
    const late = random() < 0.1 && n > 2;
    const when = late ? minute - 45 : minute;
    if (level > 1900) {
      say(`change-${n}`, minute - 10, {
        kind: 'unit-changed',
        profile: 'wet-2000',
        closing_level_ml: level,
        opening_level_ml: 0,
      });
      level = 0;
    }
    say(`r${n}`, when, {
      kind: 'reading',
      level_ml: level,
      seal: { level_cmh2o: 5 },
      suction: { source: 'off' },
    });
    const dice = random();
    if (dice < 0.1) say(`flush-${n}`, minute + 5, { kind: 'instilled', volume_ml: 20, purpose: 'flush' });
    else if (dice < 0.15) say(`weight-${n}`, minute + 1, { kind: 'weighed', weight_kg: 70 });
    else if (dice < 0.25) {
      const replacement = { kind: 'reading', effective_at: at(when), level_ml: level };
      say(`fix-${n}`, minute + 2, { kind: 'corrected', ...target(`r${n}`), replacement });
    } else if (dice < 0.3) say(`void-${n}`, minute + 3, { kind: 'entered-in-error', ...target(`r${n}`) });
  }
  return posts;
}
