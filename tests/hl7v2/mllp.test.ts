/** HL7 v2 over MLLP, on real sockets: whatever a peer does, what is acknowledged is on disk, and in order. */
import { once } from 'node:events';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { connect, type Socket } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { connect as connectTls } from 'node:tls';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { readConfig } from '../../src/config.ts';
import { readMllp } from '../../src/configuration/hl7v2-files.ts';
import type { Limits } from '../../src/hl7v2/mllp/connection.ts';
import { LIMITS, listenMllp, type Mllp } from '../../src/hl7v2/mllp/listener.ts';
import type { Hl7v2 } from '../../src/hl7v2/take.ts';
import { placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';
import { certify } from '../support/certificates.ts';
import { levelObx, message, readAck, writeMapping } from './messages.ts';

let folder: string;
let service: TestService;
let drain: TestDrain;

const FILE = { port: 0, client: 'monitors', scope: 'system/Observation.cu', peers: ['127.0.0.1'] };
function writeMllp(more: object = {}): string {
  const file = join(folder, 'mllp.json');
  writeFileSync(file, JSON.stringify({ ...FILE, ...more }));
  return file;
}

async function start(more: object = {}): Promise<void> {
  service = await startTestService({
    DRAINLEDGER_HL7V2: writeMapping(folder),
    DRAINLEDGER_MLLP: writeMllp(more),
  });
  drain = await placeDrain(service, 'drain-1');
  await tell(drain, setUp('up', '08:00', 0));
}

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'mllp-'));
});
afterEach(async () => {
  await service?.stop();
  rmSync(folder, { recursive: true });
});

const framed = (text: string): Buffer => Buffer.from(`\v${text}\x1c\r`, 'latin1');

/** A peer that keeps all that it was told. */
function peer(socket: Socket) {
  let text = '';
  socket.on('data', (data) => {
    text += data.toString('latin1');
  });
  socket.on('error', () => undefined);
  const closed = new Promise<void>((resolve) => socket.once('close', () => resolve()));
  const acks = () =>
    text
      .split('\x1c\r')
      .slice(0, -1)
      .map((each) => readAck(each.replace('\v', '')));
  return {
    socket,
    closed,
    acks,
    async told(count: number) {
      for (let n = 0; n < 1200 && acks().length < count; n += 1)
        await new Promise((done) => setTimeout(done, 10));
      if (acks().length < count) throw new Error(`${acks().length} of ${count} answers came in 12 s`);
      return acks();
    },
  };
}
const dial = (port = service.mllpPort ?? 0) => peer(connect(port, '127.0.0.1'));

const minute = (n: number): string =>
  `${new Date(Date.UTC(2025, 2, 1, 9, n)).toISOString().slice(0, 16).replaceAll(/[-:T]/g, '')}00+0000`;
const reading = (n: number, controlId = `c${n}`): string =>
  message({ controlId, order: `o${n}`, at: minute(n) }, levelObx(String(n)));
const readings = async () => {
  const { text } = await service.send('GET', `/v1/drains/${drain.drain}/chart`);
  return JSON.parse(text).rows.filter(({ kind }: { kind: string }) => kind === 'reading');
};

describe('a connection', () => {
  test('takes 1,000 messages at once, and answers them in their order', async () => {
    await start();
    const { socket, told } = dial();
    socket.write(Buffer.concat(Array.from({ length: 1000 }, (_, n) => framed(reading(n)))));
    const acks = await told(1000);
    expect(acks.map(({ controlId }) => controlId)).toEqual(Array.from({ length: 1000 }, (_, n) => `c${n}`));
    expect(new Set(acks.map(({ code }) => code))).toEqual(new Set(['AA']));
    expect(await readings()).toHaveLength(1000);
    socket.destroy();
  }, 60_000);

  test('takes frames cut anywhere, with line ends and junk between them', async () => {
    await start();
    const { socket, told } = dial();
    const bytes = Buffer.concat([
      Buffer.from('\r\n'),
      framed(reading(1)),
      Buffer.from('junk\r'),
      framed(reading(2)),
    ]);
    for (const byte of bytes) {
      socket.write(Buffer.of(byte));
      if (byte % 50 === 0) await new Promise((done) => setImmediate(done));
    }
    expect((await told(2)).map(({ code, controlId }) => [code, controlId])).toEqual([
      ['AA', 'c1'],
      ['AA', 'c2'],
    ]);
    expect(service.log()).toContain('passed over');
    expect(service.log()).not.toContain('junk\\r');
    socket.destroy();
  });

  test('a correction that follows at once waits for what it corrects', async () => {
    await start();
    const { socket, told } = dial();
    const corrected = message({ controlId: 'fix', order: 'o1', at: minute(1) }, levelObx('99', 'C'));
    socket.write(Buffer.concat([framed(reading(1)), framed(corrected), framed(reading(2))]));
    expect((await told(3)).map(({ code }) => code)).toEqual(['AA', 'AA', 'AA']);
    expect((await readings())[0].charted.level_ml).toBe(99);
    socket.destroy();
  });

  test('one bad message harms no other', async () => {
    await start();
    const { socket, told } = dial();
    socket.write(
      Buffer.concat(['hello', reading(1), message({ drain: 'x' }, levelObx('1')), reading(2)].map(framed)),
    );
    expect((await told(4)).map(({ code }) => code)).toEqual(['AR', 'AA', 'AE', 'AA']);
    socket.destroy();
  });

  test('whose peer ends its side is answered, then closed', async () => {
    await start();
    const { socket, told, closed } = dial();
    socket.end(framed(reading(1)));
    expect((await told(1))[0]?.code).toBe('AA');
    await closed;
  });

  test('in enhanced mode gets both acknowledgements', async () => {
    await start();
    const { socket, told } = dial();
    socket.write(framed(message({ wants: ['AL', 'AL'] }, levelObx('1'))));
    expect((await told(2)).map(({ code }) => code)).toEqual(['CA', 'AA']);
    socket.destroy();
  });

  test('speaks for its client: what that may not do is refused, and kept as an access', async () => {
    await start({ scope: 'system/Observation.c' });
    const { socket, told } = dial();
    const corrected = message({ controlId: 'fix', order: 'o1', at: minute(1) }, levelObx('99', 'C'));
    socket.write(Buffer.concat([framed(reading(1)), framed(corrected)]));
    expect((await told(2)).map(({ code }) => code)).toEqual(['AA', 'AR']);
    const { text } = await service.send('GET', '/fhir/AuditEvent?outcome=4,8');
    expect(text).toContain('monitors');
    socket.destroy();
  });
});

test('a service that stops answers what it has read, and all that it acknowledged is on disk', async () => {
  const database = join(folder, 'kept.db');
  service = await startTestService({
    DRAINLEDGER_HL7V2: writeMapping(folder),
    DRAINLEDGER_MLLP: writeMllp(),
    DRAINLEDGER_DATABASE: database,
  });
  await placeDrain(service, 'drain-1');
  const { socket, acks, closed } = dial();
  const idle = dial();
  await once(idle.socket, 'connect');
  socket.write(Buffer.concat(Array.from({ length: 300 }, (_, n) => framed(reading(n)))));
  while (acks().length === 0) await new Promise((done) => setTimeout(done, 1));
  await service.stop();
  await Promise.all([closed, idle.closed]);
  const codes = acks().map(({ code, controlId }) => [code, controlId]);
  expect(codes).toEqual(codes.map((_, n) => ['AA', `c${n}`]));
  const db = new Database(database, { readonly: true });
  const kept = db
    .prepare('SELECT count(*) FROM payload WHERE body LIKE \'%"kind":"reading"%\'')
    .pluck()
    .get();
  db.close();
  expect(kept).toBe(codes.length);
  await start();
});

/** A door that says of each message what it was, so that limits can be met without a ledger. */
function echo(answerBytes = 10): Hl7v2 & { held: (() => void)[]; hold: boolean } {
  const held: (() => void)[] = [];
  const answer = {
    code: 'AA',
    mayPass: false,
    isForbidden: false,
    isErased: false,
    isRecorded: false,
    drains: [],
  } as const;
  const door = {
    held,
    hold: false,
    async take({ bytes }: { bytes: Buffer }) {
      if (door.hold) await new Promise<void>((resolve) => held.push(resolve));
      const text = `MSA|AA|${bytes.toString('latin1').slice(0, 20)}|${'x'.repeat(answerBytes)}`;
      return { ...answer, acknowledgements: [Buffer.from(text)] };
    },
    refuseLong: () => ({ ...answer, code: 'AR' as const, acknowledgements: [Buffer.from('MSA|AR|long')] }),
    counts: () => ({ AA: 0, AE: 0, AR: 0 }),
    namedIn: () => ({ drains: [], patients: [] }),
  };
  return door;
}

describe('limits', () => {
  const QUIET = { info() {}, warn() {}, error() {} };
  let mllp: Mllp;
  async function listen(limits: Partial<Limits>, door: Hl7v2 = echo()): Promise<void> {
    await start();
    const options = { ...readMllp(writeMllp()), host: '127.0.0.1' };
    const parts = { hl7v2: door, log: QUIET, noteForbidden: async () => undefined };
    mllp = await listenMllp(options, parts, { ...LIMITS, ...limits });
  }
  afterEach(() => mllp?.stop());

  test('a frame that does not end in time ends its connection, however slowly bytes come', async () => {
    await listen({ frameMs: 300 });
    const { socket, closed, told } = dial(mllp.port);
    socket.write(framed('first'));
    await told(1);
    socket.write('\vMSH');
    const drip = setInterval(() => socket.write('|'), 40);
    await closed;
    clearInterval(drip);
    await expect.poll(() => mllp.connections()).toBe(0);
  });

  test('a connection on which nothing comes is closed, and one in use is not', async () => {
    await listen({ idleMs: 400 });
    const [idle, busy] = [dial(mllp.port), dial(mllp.port)];
    let count = 0;
    const ping = setInterval(() => {
      count += 1;
      busy.socket.write(framed(`p${count}`));
    }, 100);
    await idle.closed;
    expect(busy.socket.destroyed).toBe(false);
    clearInterval(ping);
    await busy.closed;
    expect(busy.acks()).toHaveLength(count);
  });

  test('a message that is too long is refused, what came before it is answered, and no more is read', async () => {
    await listen({ messageBytes: 100 });
    const { socket, told, closed } = dial(mllp.port);
    socket.write(Buffer.concat([framed('y'.repeat(100)), framed('z'.repeat(101)), framed('never')]));
    expect((await told(2)).map(({ code }) => code)).toEqual(['AA', 'AR']);
    await closed;
  });

  test('how many are open is told in /metrics', async () => {
    await start();
    const open = async () =>
      /^drainledger_mllp_connections (\d+)$/m.exec((await service.send('GET', '/metrics')).text)?.[1];
    expect(await open()).toBe('0');
    const { socket } = dial();
    await expect.poll(open).toBe('1');
    socket.destroy();
    await expect.poll(open).toBe('0');
  });

  test('there are only so many connections', async () => {
    await listen({ connections: 2 });
    const two = [dial(mllp.port), dial(mllp.port)];
    for (const { socket, told } of two) {
      socket.write(framed('hello'));
      await told(1);
    }
    const third = dial(mllp.port);
    await third.closed;
    expect(mllp.connections()).toBe(2);
    for (const { socket } of two) socket.destroy();
  });

  test('while much is under way nothing more is read', async () => {
    const door = echo();
    door.hold = true;
    await listen({ underWay: 5 }, door);
    const { socket, told } = dial(mllp.port);
    // Frames as large as chunks, so that few are read at once.
    for (let n = 0; n < 60; n += 1) socket.write(framed(`${n}|${'x'.repeat(200_000)}`));
    await expect.poll(() => door.held.length, { timeout: 5000 }).toBeGreaterThanOrEqual(5);
    await new Promise((done) => setTimeout(done, 300));
    expect(door.held.length).toBeLessThan(10);
    door.hold = false;
    for (const release of door.held) release();
    expect(await told(60)).toHaveLength(60);
    socket.destroy();
  });

  test('a peer that takes no answers is not written to without end, and is given up when it stalls', async () => {
    await listen({ idleMs: 500, underWay: 50 }, echo(500_000));
    const socket = connect(mllp.port, '127.0.0.1');
    socket.on('error', () => undefined);
    socket.pause();
    for (let n = 0; n < 200; n += 1) socket.write(framed(String(n)));
    await expect.poll(() => mllp.connections(), { timeout: 8000 }).toBe(0);
    socket.destroy();
  });
});

describe('who is let in', () => {
  test('peers that are named, and no others', async () => {
    await start({ peers: ['10.0.0.0/8', '::1'] });
    await dial().closed;
    expect(service.log()).toContain('turned away');
  });

  test('whoever has a certificate of the authority that is named, and nobody else', async () => {
    const ca = certify({ name: 'ward authority' });
    const server = certify({ name: 'drains', by: ca, host: 'localhost' });
    const client = certify({ name: 'gateway', by: ca });
    const stranger = certify({ name: 'gateway', by: certify({ name: 'another' }) });
    for (const [name, pem] of [
      ['ca.pem', ca.cert],
      ['cert.pem', server.cert],
      ['key.pem', server.key],
    ] as const)
      writeFileSync(join(folder, name), pem, { mode: 0o600 });
    await start({ peers: [], tls: { cert_file: 'cert.pem', key_file: 'key.pem', ca_file: 'ca.pem' } });
    const options = { port: service.mllpPort ?? 0, host: '127.0.0.1', servername: 'localhost', ca: ca.cert };
    const known = peer(connectTls({ ...options, cert: client.cert, key: client.key }));
    known.socket.write(framed(reading(1)));
    expect((await known.told(1))[0]?.code).toBe('AA');
    known.socket.destroy();
    for (const other of [{}, { cert: stranger.cert, key: stranger.key }]) {
      const turnedAway = peer(connectTls({ ...options, ...other }));
      turnedAway.socket.write(framed(reading(2)));
      await turnedAway.closed;
      expect(turnedAway.acks()).toEqual([]);
    }
    const plain = dial();
    plain.socket.write(framed(reading(3)));
    await plain.closed;
    expect(await readings()).toHaveLength(1);
  });

  test.each([
    ['neither peers nor certificates', { peers: [] }, /lets anybody in/],
    [
      'certificates of nobody in particular',
      { peers: [], tls: { cert_file: 'a', key_file: 'b' } },
      /lets anybody in/,
    ],
    ['a name for a peer', { peers: ['gateway.example'] }, /is no IP address or subnet/],
    ['a subnet that is none', { peers: ['10.0.0.0/33'] }, /is no IP address or subnet/],
    ['a scope that does not chart', { scope: 'system/Observation.r' }, /lets nobody chart/],
    ['words of no use', { scope: 'system/Observation.c everything' }, /grant nothing/],
    ['no client', { client: '' }, /client/],
  ])('a file with %s is refused', async (_, more, why) => {
    expect(() => readMllp(writeMllp(more))).toThrow(why);
    await start();
  });

  test('a listener needs a mapping', async () => {
    const env = {
      DRAINLEDGER_DATABASE: 'x',
      DRAINLEDGER_ORIGIN: 'abc',
      DRAINLEDGER_DEVELOPMENT: 'yes',
      DRAINLEDGER_MLLP: 'x',
    };
    expect(() => readConfig(env)).toThrow(/DRAINLEDGER_MLLP needs DRAINLEDGER_HL7V2/);
    await start();
  });
});
