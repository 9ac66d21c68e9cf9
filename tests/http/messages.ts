/** Messages of an invented ward. */
import type { TestService } from './service.ts';

export const SYSTEM = 'urn:example:ward';
export const id = (value: string) => ({ system: SYSTEM, value });
export const NURSE = { type: 'person', reference: 'Practitioner/n1' };
export const DEVICE = { type: 'device', identifier: id('device-1') };

/** '10:00' on 1 March 2025 UTC; a full date-time as it is. */
export const at = (time: string): string => (time.includes('T') ? time : `2025-03-01T${time}:00Z`);

export const placement = (key: string, time = '08:00', more: object = {}) => ({
  identifier: id(key),
  author: NURSE,
  effective_at: at(time),
  site: 'pleural-left',
  tubes: ['A'],
  population: 'adult',
  ...more,
});

export const entry = (key: string, kind: string, time: string, more: object = {}) => ({
  identifier: id(key),
  author: NURSE,
  effective_at: at(time),
  kind,
  ...more,
});

export const setUp = (key: string, time: string, opening: number | undefined, profile = 'wet-2000') =>
  entry(key, 'set-up', time, {
    profile,
    ...(opening === undefined ? {} : { opening_level_ml: opening }),
  });

export const level = (key: string, time: string, level_ml: number, more: object = {}) =>
  entry(key, 'reading', time, { level_ml, ...more });

export const corrected = (key: string, target: string, replacement: object) =>
  entry(key, 'corrected', '23:00', { target: id(target), reason: 'misread', replacement });

/** What a correction puts in place: an entry without key and author. */
export function content(of: object): object {
  const { identifier: _identifier, author: _author, ...rest } = of as Record<string, unknown>;
  return rest;
}

export const voided = (key: string, target: string) =>
  entry(key, 'entered-in-error', '23:30', { target: id(target), reason: 'wrong drain' });

interface Row {
  readonly identifier: { readonly value: string };
  readonly marks: readonly string[];
  readonly counted: boolean;
  readonly left_out: readonly string[];
  readonly interval?: {
    readonly status: string;
    readonly net_ml: number | null;
    readonly drained_ml: number | null;
    readonly rate_ml_h: number | null;
  };
  readonly cumulative?: { readonly net_ml: number | null };
  readonly total_negativity?: {
    readonly value_cmh2o: number | null;
    readonly low_cmh2o?: number | null;
    readonly high_cmh2o?: number | null;
    readonly reason?: string;
  };
}

/** A drain of the test service, and what may be asked of it. */
export interface TestDrain {
  readonly drain: string;
  enter(message: object | string): Promise<{ readonly status: number; readonly text: string }>;
  row(key: string): Promise<Row>;
  ledger(): Promise<string>;
}

export async function placeDrain(
  service: TestService,
  key: string,
  time?: string,
  more?: object,
): Promise<TestDrain> {
  const answer = await service.send('POST', '/v1/drains', placement(key, time, more));
  if (answer.status !== 201) throw new Error(answer.text);
  const { drain } = JSON.parse(answer.text) as { drain: string };
  return {
    drain,
    enter: (message) => service.send('POST', `/v1/drains/${drain}/entries`, message),
    async row(wanted) {
      const { text } = await service.send('GET', `/v1/drains/${drain}/chart`);
      const { rows } = JSON.parse(text) as { rows: readonly Row[] };
      const found = rows.find((row) => row.identifier.value === wanted);
      if (found === undefined) throw new Error(`no row ${wanted} in ${text}`);
      return found;
    },
    ledger: async () => (await service.send('GET', `/v1/drains/${drain}/entries`)).text,
  };
}

/** Enters messages one after another; each must be taken. */
export async function tell(drain: TestDrain, ...messages: readonly object[]): Promise<void> {
  for (const message of messages) {
    const { status, text } = await drain.enter(message);
    if (status !== 201) throw new Error(`${JSON.stringify(message)}: ${text}`);
  }
}
