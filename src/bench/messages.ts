/** Messages for the bench: a full bedside reading an interval, many drains, levels that rise and units that change. */

export interface Message {
  readonly path: string;
  readonly body: string;
}

const AUTHOR = {
  type: 'device',
  identifier: { system: 'urn:example:bench:device', value: 'gateway' },
} as const;
const START_MS = Date.UTC(2026, 0, 1);
const EVERY_MS = 20 * 60_000;
const ROOM_ML = 1990;

export const placement = (run: string, drain: number): Message => ({
  path: '/v1/drains',
  body: JSON.stringify({
    ...common(run, `placed-${drain}`, 0),
    site: 'pleural-left',
    tubes: ['A'],
    population: 'adult',
    patient: { reference: `Patient/bench-${drain}` },
  }),
});

export const setUp = (run: string, drain: number, id: string): Message => ({
  path: `/v1/drains/${id}/entries`,
  body: JSON.stringify({
    ...common(run, `set-up-${drain}`, 0),
    kind: 'set-up',
    profile: 'wet-2000',
    opening_level_ml: 0,
  }),
});

/** The nth reading of a drain, or the unit change when its chamber is full. */
export function reading(run: string, drain: number, id: string, n: number, everyMs = EVERY_MS): Message {
  const level = (n * 10) % ROOM_ML;
  const says =
    n > 0 && level < 10
      ? { kind: 'unit-changed', profile: 'wet-2000', closing_level_ml: ROOM_ML, opening_level_ml: level }
      : {
          kind: 'reading',
          level_ml: level,
          suction: { source: 'on', column_cmh2o: 20, ordered_cmh2o: 20, bubbling: 'gentle' },
          seal: { level_cmh2o: 5 },
          tidaling: 'present',
          air_leak: { grade: 1, phase: 'expiratory' },
        };
  return {
    path: `/v1/drains/${id}/entries`,
    body: JSON.stringify({ ...common(run, `${drain}-${n}`, n * everyMs), ...says }),
  };
}

function common(run: string, value: string, afterMs: number) {
  return {
    identifier: { system: `urn:example:bench:${run}`, value },
    author: AUTHOR,
    effective_at: new Date(START_MS + afterMs).toISOString(),
  };
}
