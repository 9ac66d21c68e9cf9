/** Certificates made on the spot (RFC 5280, DER by hand), so that tests need no tool and nothing that expires. */
import { createHash, generateKeyPairSync, type KeyObject, randomBytes, sign } from 'node:crypto';

export interface Certified {
  /** PEM. */
  readonly cert: string;
  readonly key: string;
  readonly name: string;
  readonly privateKey: KeyObject;
}

const der = (tag: number, ...contents: readonly Buffer[]): Buffer => {
  const content = Buffer.concat(contents);
  const { length } = content;
  const size = length < 128 ? [length] : length < 256 ? [0x81, length] : [0x82, length >> 8, length & 255];
  return Buffer.concat([Buffer.from([tag, ...size]), content]);
};
const sequence = (...contents: readonly Buffer[]): Buffer => der(0x30, ...contents);
const oid = (hex: string): Buffer => der(0x06, Buffer.from(hex, 'hex'));
const ECDSA_SHA256 = sequence(oid('2a8648ce3d040302'));
const nameOf = (name: string): Buffer =>
  sequence(der(0x31, sequence(oid('550403'), der(0x0c, Buffer.from(name)))));
const time = (ms: number): Buffer =>
  der(
    0x17,
    Buffer.from(
      new Date(ms)
        .toISOString()
        .replace(/^\d\d(\d\d)-(\d\d)-(\d\d)T(\d\d):(\d\d):(\d\d).*$/, '$1$2$3$4$5$6Z'),
    ),
  );
const extension = (id: string, value: Buffer): Buffer => sequence(oid(id), der(0x04, value));

interface Wanted {
  readonly name: string;
  /** Signs it; itself without. */
  readonly by?: Certified;
  /** Of a server, in the subject's alternative names. */
  readonly host?: string;
  readonly untilMs?: number;
}

const DAY_MS = 86_400_000;

export function certify({ name, by, host, untilMs = Date.now() + DAY_MS }: Wanted): Certified {
  const { publicKey, privateKey } = generateKeyPairSync('ec', { namedCurve: 'P-256' });
  const spki = publicKey.export({ type: 'spki', format: 'der' });
  const extensions = [
    extension('551d13', sequence(...(by === undefined ? [der(0x01, Buffer.from([0xff]))] : []))),
    extension('551d0e', der(0x04, createHash('sha1').update(spki).digest())),
    ...(host === undefined ? [] : [extension('551d11', sequence(der(0x82, Buffer.from(host))))]),
  ];
  const body = sequence(
    der(0xa0, der(0x02, Buffer.from([2]))),
    der(0x02, Buffer.concat([Buffer.from([1]), randomBytes(8)])),
    ECDSA_SHA256,
    nameOf(by?.name ?? name),
    sequence(time(Date.now() - 2 * DAY_MS), time(untilMs)),
    nameOf(name),
    spki,
    der(0xa3, sequence(...extensions)),
  );
  const signature = sign('sha256', body, by?.privateKey ?? privateKey);
  const whole = sequence(body, ECDSA_SHA256, der(0x03, Buffer.from([0]), signature));
  return {
    cert: `-----BEGIN CERTIFICATE-----\n${whole.toString('base64').replaceAll(/.{64}(?=.)/g, '$&\n')}\n-----END CERTIFICATE-----\n`,
    key: String(privateKey.export({ type: 'pkcs8', format: 'pem' })),
    name,
    privateKey,
  };
}
