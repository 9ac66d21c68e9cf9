/** A ward with a monitor that goes from drain to drain; all of it is invented. */
import { expect } from 'vitest';
import { at, id, NURSE, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import type { TestService } from './service.ts';

export const MONITOR = id('monitor-1');
const MONITOR_AUTHOR = { type: 'device', identifier: MONITOR };

const common = (key: string) => ({ identifier: id(key), author: NURSE, effective_at: at('12:00') });

export const registration = (key: string, device = MONITOR) => ({ ...common(key), device, type: 'monitor' });

/** @param to null: it still is */
export const assigned = (key: string, drain: string, from: string, to: string | null = null) => ({
  ...common(key),
  kind: 'assigned',
  drain,
  from: at(from),
  ...(to === null ? {} : { to: at(to) }),
  reason: 'moved with the patient',
});
export const closed = (key: string, target: string, to: string) => ({
  ...common(key),
  kind: 'closed',
  target: id(target),
  to: at(to),
  reason: 'taken off',
});
export const reassigned = (key: string, target: string, drain: string, from: string, to?: string) => ({
  ...common(key),
  kind: 'corrected',
  target: id(target),
  reason: 'it was on the other patient',
  replacement: { drain, from: at(from), ...(to === undefined ? {} : { to: at(to) }) },
});
export const withdrawn = (key: string, target: string) => ({
  ...common(key),
  kind: 'entered-in-error',
  target: id(target),
  reason: 'it was never there',
});

/** @param to null: it still is */
export const retired = (key: string, from: string, to: string | null = null) => ({
  ...common(key),
  kind: 'retired',
  from: at(from),
  ...(to === null ? {} : { to: at(to) }),
  reason: 'sent for repair',
});
/** @param replacement of an assignment, a retirement or a registration */
export const corrected = (key: string, target: string, replacement: object) => ({
  ...common(key),
  kind: 'corrected',
  target: id(target),
  reason: 'charted wrongly',
  replacement,
});

/** A reading that names the device alone. */
export const byDevice = (key: string, time: string, level_ml: number, more: object = {}) => ({
  kind: 'reading',
  level_ml,
  device: MONITOR,
  identifier: id(key),
  author: MONITOR_AUTHOR,
  effective_at: at(time),
  ...more,
});

/** Drains of two patients, each with a unit since 08:00. */
export async function twoDrains(service: TestService): Promise<readonly [TestDrain, TestDrain]> {
  const first = await placeDrain(service, 'first', '08:00', { patient: { reference: 'Patient/1' } });
  const second = await placeDrain(service, 'second', '08:00', { patient: { reference: 'Patient/2' } });
  await tell(first, setUp('first-up', '08:00', 0));
  await tell(second, setUp('second-up', '08:00', 0));
  return [first, second];
}

export async function accepted(...answers: readonly ReturnType<TestService['send']>[]): Promise<void> {
  for (const answer of answers) {
    const { status, text } = await answer;
    expect(status, text).toBe(201);
  }
}

export interface TestDevice {
  readonly device: string;
  assign(message: object): ReturnType<TestService['send']>;
  chart(message: object): ReturnType<TestService['send']>;
  post(message: object): ReturnType<TestService['send']>;
}

export async function registerMonitor(service: TestService): Promise<TestDevice> {
  const { text } = await service.send('POST', '/v1/devices', registration('registered'));
  const { device } = JSON.parse(text) as { device: string };
  return {
    device,
    assign: (message) => service.send('POST', `/v1/devices/${device}/assignments`, message),
    chart: (message) => service.send('POST', `/v1/devices/${device}/entries`, message),
    post: (message) => service.send('POST', '/v1/device-entries', message),
  };
}
