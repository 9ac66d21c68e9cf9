/**
 * The service is killed with SIGKILL in each state that a delivery can be in, at an EHR that creates whatever it is
 * sent. Afterwards the EHR holds each fact once, in its current version.
 */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import type { HttpRequest } from '../../src/delivery/http.ts';
import { isSame } from '../../src/delivery/same.ts';
import { createSimEhr, type SimEhr } from '../delivery/sim/ehr.ts';
import type { RequestFault } from '../delivery/sim/faults.ts';
import { freePort, killAll, type Process, startServiceWith } from './processes.ts';

const folder = mkdtempSync(join(tmpdir(), 'drainledger-states-'));
const servers: Server[] = [];
afterAll(() => {
  killAll();
  for (const server of servers) {
    server.closeAllConnections();
    server.close();
  }
  rmSync(folder, { recursive: true, force: true });
});

const pause = (ms: number) => new Promise<void>((resolve) => setTimeout(resolve, ms));

/** What the EHR does with the next write; `hold` leaves it without an answer. */
interface Next {
  readonly fault: RequestFault;
  readonly hold: boolean;
}
const refuse = (status: number, code: string): Next => ({
  fault: { kind: 'refuse', status, code },
  hold: false,
});
const lost = (done: 'never' | 'now', hold: boolean): Next => ({
  fault: { kind: 'lost', code: 'ECONNRESET', done },
  hold,
});

interface Ehr {
  readonly url: string;
  readonly sim: SimEhr;
  /** What the coming writes meet: the first of these each. */
  next: Next[];
  /** Writes that met one. */
  met: number;
}

async function startEhr(): Promise<Ehr> {
  const port = await freePort();
  const url = `http://127.0.0.1:${port}/fhir`;
  const ehr: Ehr = { url, sim: simulated(url, () => ehr), next: [], met: 0 };
  const server = createServer((request, response) => {
    let body = '';
    request.on('data', (chunk: Buffer) => {
      body += chunk.toString();
    });
    request.on('end', () => {
      const holds = isWrite(request.method) && ehr.next[0]?.hold === true;
      const asked = {
        method: request.method as HttpRequest['method'],
        url: `http://127.0.0.1:${port}${request.url}`,
        headers: request.headers as Record<string, string>,
        ...(body === '' ? {} : { body }),
      };
      ehr.sim.send(asked).then(
        ({ status, headers, body: text }) =>
          response.writeHead(status, headers as Record<string, string>).end(text),
        () => holds || request.socket.destroy(),
      );
    });
  });
  servers.push(server);
  await new Promise<void>((resolve) => server.listen(port, '127.0.0.1', resolve));
  expect((server.address() as AddressInfo).port).toBe(port);
  return ehr;
}

const isWrite = (method: string | undefined): boolean => method === 'POST' || method === 'PUT';

function simulated(base: string, ehr: () => Ehr): SimEhr {
  return createSimEhr({
    clock: { after: pause, now: Date.now },
    base,
    timeoutMs: 1000,
    ceilingMs: 1000,
    random: () => 0.1,
    ignoresConditions: true,
    faultFor({ method }) {
      const next = isWrite(method) ? ehr().next.shift() : undefined;
      if (next === undefined) return { kind: 'none' };
      ehr().met += 1;
      return next.fault;
    },
    isPoison: () => false,
  });
}

class Ward {
  readonly port: number;
  readonly database: string;
  readonly settings: Readonly<Record<string, string>>;
  service: Process | null = null;
  drain = '';
  minute = 0;

  constructor(port: number, name: string, targets: object) {
    this.port = port;
    this.database = join(folder, `${name}.db`);
    const file = join(folder, `${name}.json`);
    writeFileSync(file, JSON.stringify(targets));
    this.settings = { DRAINLEDGER_TARGETS: file, EHR_TOKEN: '1' };
  }

  async start(): Promise<void> {
    this.service = await startServiceWith(this.port, this.database, this.settings);
  }
  async kill(): Promise<void> {
    expect(await this.service?.end('SIGKILL')).toBeNull();
  }
  async ask<T>(method: string, path: string, body?: object): Promise<T> {
    const response = await fetch(`http://127.0.0.1:${this.port}/v1${path}`, {
      method,
      ...(body === undefined
        ? {}
        : { headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) }),
    });
    const text = await response.text();
    if (!response.ok) throw new Error(`${path}: ${text}`);
    return JSON.parse(text) as T;
  }
  /** Charts a further reading. */
  async chart(more: object = {}): Promise<void> {
    this.minute += 30;
    const common = {
      identifier: { system: 'urn:example:e2e', value: `r${this.minute}` },
      author: { type: 'person', reference: 'Practitioner/e2e' },
      effective_at: new Date(Date.UTC(2026, 0, 10, 8, this.minute)).toISOString(),
    };
    const path = this.drain === '' ? '/drains' : `/drains/${this.drain}/entries`;
    const { drain } = await this.ask<{ drain: string }>('POST', path, { ...common, ...more });
    this.drain = drain;
  }
  async states(): Promise<string[]> {
    const { deliveries } = await this.ask<{ deliveries: { state: string }[] }>('GET', '/deliveries');
    return deliveries.map(({ state }) => state);
  }
  async until(holds: () => boolean | Promise<boolean>): Promise<void> {
    const end = Date.now() + 30_000;
    while (Date.now() < end) {
      if (await holds()) return;
      await pause(10);
    }
    throw new Error(`it does not come to hold: ${JSON.stringify(await this.states())}`);
  }
}

const BY = { author: { type: 'person', reference: 'Practitioner/e2e' }, reason: 'mended there' };
const reading = (ml: number) => ({ kind: 'reading', level_ml: ml });

interface State {
  readonly name: string;
  readonly next: readonly Next[];
  /** Once it is there, the service is killed. */
  reached(ward: Ward, ehr: Ehr): Promise<boolean> | boolean;
  after?(ward: Ward, ehr: Ehr): Promise<void>;
}

const inState = (state: string) => async (ward: Ward) => (await ward.states()).includes(state);
const met = (_ward: Ward, ehr: Ehr) => ehr.met > 0;

const STATES: readonly State[] = [
  { name: 'sending, and nothing done yet', next: [lost('never', true)], reached: met },
  { name: 'sending, and done without an answer', next: [lost('now', true)], reached: met },
  { name: 'waiting', next: Array(3).fill(refuse(503, 'transient')), reached: inState('waiting') },
  { name: 'unknown', next: [lost('now', false)], reached: inState('unknown') },
  { name: 'parked', next: [refuse(403, 'forbidden')], reached: inState('waiting') },
  {
    name: 'dead, then being sent again',
    next: Array(20).fill(refuse(422, 'business-rule')),
    reached: inState('dead'),
    async after(ward, ehr) {
      await ward.until(async () => (await ward.states()).every((state) => state === 'dead'));
      ehr.next = [lost('now', true)];
      ehr.met = 0;
      await ward.ask('POST', '/targets/ehr/requeue', BY);
      await ward.until(() => ehr.met > 0);
      await ward.kill();
      await ward.start();
    },
  },
  {
    name: 'replaying',
    next: [],
    reached: async (ward) => (await ward.states()).length === 0,
    async after(ward, ehr) {
      ehr.next = [lost('now', true)];
      ehr.met = 0;
      await ward.ask('POST', '/targets/ehr/replay', {
        ...BY,
        from: '2020-01-01T00:00:00Z',
        to: '2100-01-01T00:00:00Z',
      });
      await ward.until(() => ehr.met > 0);
      await ward.kill();
      await ward.start();
    },
  },
];

// Beside each other: most of the time goes into waiting out the ceiling.
describe.concurrent.each(['create', 'transaction'] as const)('killed in each state, by %s', (mode) => {
  it('ends with each fact once, in its current version', async () => {
    const ehr = await startEhr();
    const target = {
      name: 'ehr',
      base_url: ehr.url,
      mode,
      timeout_s: 1.5,
      ceiling_s: 2,
      longest_pause_s: 0.2,
    };
    const ward = new Ward(await freePort(), mode, {
      targets: [{ ...target, auth: { type: 'bearer', token_env: 'EHR_TOKEN' } }],
    });
    await ward.start();
    await ward.chart({
      site: 'pleural-left',
      tubes: ['A'],
      population: 'adult',
      patient: { reference: 'Patient/e2e' },
    });
    await ward.chart({ kind: 'set-up', profile: 'wet-2000', opening_level_ml: 0 });
    for (const [n, state] of STATES.entries()) {
      await ward.until(async () => (await ward.states()).length === 0);
      ehr.next = [...state.next];
      ehr.met = 0;
      await ward.chart(reading(100 + n * 50));
      await ward.until(() => state.reached(ward, ehr));
      await ward.kill();
      ehr.next = [];
      await ward.start();
      await state.after?.(ward, ehr);
    }
    await ward.until(async () => (await ward.states()).length === 0);
    await holdsWhatIsIssued(ward, ehr.sim);
    expect(ehr.sim.faults).toEqual([]);
    expect(await ward.service?.end('SIGTERM')).toBe(0);
  }, 240_000);
});

interface Found {
  readonly entry?: readonly { readonly resource: { readonly id: string } }[];
  readonly link: readonly { readonly relation: string; readonly url: string }[];
}

async function holdsWhatIsIssued(ward: Ward, { resources }: SimEhr): Promise<void> {
  const texts = [...resources.values()].map(({ text }) => text);
  const held = texts.filter((text) => text.startsWith('{"resourceType":"Observation"'));
  const values = held.map(
    (text) => (JSON.parse(text) as { identifier: { value: string }[] }).identifier[0]?.value,
  );
  expect(new Set(values).size).toBe(values.length);
  let url: string | undefined =
    `http://127.0.0.1:${ward.port}/fhir/Observation?patient=Patient/e2e&_count=100`;
  let issued = 0;
  while (url !== undefined) {
    const page = (await (await fetch(url)).json()) as Found;
    for (const { resource } of page.entry ?? []) {
      issued += 1;
      const {
        derivedFrom: _derived,
        hasMember: _members,
        device: _device,
        ...rest
      } = resource as Record<string, unknown> & { id: string };
      const there = held[values.indexOf(resource.id)];
      expect(isSame(JSON.stringify(rest), there ?? ''), `${resource.id} is there as issued`).toBe(true);
    }
    url = page.link.find(({ relation }) => relation === 'next')?.url;
  }
  expect(issued).toBe(held.length);
  expect(issued).toBeGreaterThan(50);
}
