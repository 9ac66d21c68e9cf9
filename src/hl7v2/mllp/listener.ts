/**
 * Listens for HL7 v2 over MLLP. The protocol has no way to say who sends, so that a listener speaks for one client, and
 * lets in only peers that are named, or that show a certificate of an authority that is.
 */
import { BlockList, createServer, isIPv4, type Server, type Socket } from 'node:net';
import { createServer as createTlsServer, type TlsOptions } from 'node:tls';
import type { Principal } from '../../auth/principal.ts';
import { type Hl7v2, MOST_MESSAGE_BYTES } from '../take.ts';
import { type Connection, type Limits, type Log, serve } from './connection.ts';

export interface MllpOptions {
  readonly host: string;
  readonly port: number;
  readonly principal: Principal;
  /** IP addresses and subnets (CIDR); empty: any, where a certificate is asked for. */
  readonly peers: readonly string[];
  readonly tls: TlsOptions | null;
}

export interface MllpParts {
  readonly hl7v2: Hl7v2;
  readonly log: Log;
  /** Keeps that the client may not write what it sent. */
  noteForbidden(address: string, drains: readonly string[]): Promise<void>;
}

export interface Mllp {
  readonly port: number;
  connections(): number;
  /** Takes no more connections and messages, answers those it has, closes. */
  stop(): Promise<void>;
}

export const LIMITS: Limits = {
  connections: 64,
  messageBytes: MOST_MESSAGE_BYTES,
  underWay: 200,
  frameMs: 30_000,
  idleMs: 30 * 60_000,
  stopMs: 5000,
};

/** @throws {Error} when it cannot listen there, or would let anybody in */
export async function listenMllp(
  options: MllpOptions,
  parts: MllpParts,
  limits: Limits = LIMITS,
): Promise<Mllp> {
  const { host, port, peers, tls } = options;
  if (peers.length === 0 && tls?.requestCert !== true)
    throw new Error('a listener for MLLP needs peers, or certificates of clients');
  const isLetIn = peerCheck(peers);
  const open = new Map<Socket, Connection>();
  const onSocket = (socket: Socket): void => {
    const address = socket.remoteAddress ?? '';
    open.set(socket, serve(socket, connectionParts(address, options, parts, limits)));
    socket.on('close', () => open.delete(socket));
  };
  const server: Server =
    tls === null
      ? createServer({ allowHalfOpen: true, noDelay: true }, onSocket)
      : createTlsServer({ ...tls, allowHalfOpen: true, handshakeTimeout: limits.frameMs }, onSocket);
  server.maxConnections = limits.connections;
  server.prependListener('connection', (socket: Socket) => {
    if (isLetIn(socket.remoteAddress ?? '')) return;
    parts.log.warn({ address: socket.remoteAddress }, 'mllp: a peer that is not named was turned away');
    socket.destroy();
  });
  await new Promise<void>((resolve, reject) => {
    server.once('error', reject).listen(port, host, resolve);
  });
  return {
    port: (server.address() as { port: number }).port,
    connections: () => open.size,
    async stop() {
      const closed = new Promise((resolve) => server.close(resolve));
      await Promise.all([...open.values()].map((connection) => connection.stop()));
      await closed;
    },
  };
}

/** IPv4 also as a socket of IPv6 names it. */
function peerCheck(peers: readonly string[]): (address: string) => boolean {
  if (peers.length === 0) return () => true;
  const list = new BlockList();
  for (const peer of peers) {
    const [address = '', bits] = peer.split('/');
    const family = isIPv4(address) ? 'ipv4' : 'ipv6';
    if (bits === undefined) list.addAddress(address, family);
    else list.addSubnet(address, Number(bits), family);
  }
  return (address) => {
    const plain = address.replace(/^::ffff:(?=\d+\.)/i, '');
    return list.check(plain, isIPv4(plain) ? 'ipv4' : 'ipv6');
  };
}

function connectionParts(
  address: string,
  { principal }: MllpOptions,
  { hl7v2, log, noteForbidden }: MllpParts,
  limits: Limits,
): Parameters<typeof serve>[1] {
  const { client } = principal;
  const sender = { client, subject: null, credential: null, address, request_id: null };
  return {
    limits,
    log,
    async take(bytes, before) {
      const taken = await hl7v2.take({ bytes, principal, sender, over: 'mllp', before });
      if (taken.isForbidden) await noteForbidden(address, taken.drains);
      log.info({ client, code: taken.code }, 'mllp: answered');
      return taken;
    },
    refuse: (beginning) => hl7v2.refuseLong(beginning, limits.messageBytes),
  };
}
