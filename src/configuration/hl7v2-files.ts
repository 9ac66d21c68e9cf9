/** What a facility says of HL7 v2, in its files: how messages are read, and who may send them over MLLP. */
import { readFileSync } from 'node:fs';
import { isIP } from 'node:net';
import { dirname, resolve } from 'node:path';
import { z } from 'zod';
import { wordsOfNoUse } from '../auth/keys.ts';
import { UNBOUND } from '../auth/principal.ts';
import { allows, CHART } from '../auth/scope.ts';
import { readSecret } from '../delivery/auth/secret-file.ts';
import type { MessageMapping } from '../domain/vocabulary/message-mapping.ts';
import type { MllpOptions } from '../hl7v2/mllp/listener.ts';
import { DEFAULT_OBSERVATIONS, DEFAULT_UNITS } from '../intake/hl7v2/default-table.ts';
import { messageMapping } from '../intake/hl7v2/mapping.ts';
import { isZoneName } from '../record/calendar.ts';
import { readJsonFile } from './json-file.ts';

const file = messageMapping.extend({
  zone: z.string().refine(isZoneName, { error: 'is no time zone of the IANA database' }).optional(),
});

/** The facility's rows, with those that ship after them. @throws {Error} naming the file and all that is wrong in it */
export function readMessageMapping(path: string): MessageMapping {
  const { observations, units, ...rest } = readJsonFile(path, file, JSON.parse);
  return {
    ...rest,
    observations: [...observations, ...DEFAULT_OBSERVATIONS],
    units: [...units, ...DEFAULT_UNITS],
  } as MessageMapping;
}

function isPeer(text: string): boolean {
  const [address = '', bits, ...more] = text.split('/');
  const most = { 0: -1, 4: 32, 6: 128 }[isIP(address)] ?? -1;
  return (
    more.length === 0 && most > 0 && (bits === undefined || (/^\d{1,3}$/.test(bits) && Number(bits) <= most))
  );
}

const mllpFile = z
  .strictObject({
    host: z.string().min(1).default('127.0.0.1'),
    port: z.number().int().min(0).max(65_535),
    client: z.string().min(1).max(100),
    scope: z
      .string()
      .refine((scope) => allows(scope, CHART), { error: 'lets nobody chart: name system/Observation.c' })
      .refine((scope) => wordsOfNoUse(scope).length === 0, { error: 'has words that grant nothing' }),
    peers: z
      .array(z.string().refine(isPeer, { error: 'is no IP address or subnet, such as 10.0.7.0/24' }))
      .default([]),
    tls: z
      .strictObject({ cert_file: z.string(), key_file: z.string(), ca_file: z.string().optional() })
      .optional(),
  })
  .refine(({ peers, tls }) => peers.length > 0 || tls?.ca_file !== undefined, {
    error: 'lets anybody in: name peers, or tls with the ca_file of their certificates',
  });

/** @throws {Error} naming the file and all that is wrong in it, or with the files that it names */
export function readMllp(path: string): MllpOptions {
  const { client, scope, tls, ...rest } = readJsonFile(path, mllpFile, JSON.parse);
  const beside = (name: string): string => resolve(dirname(path), name);
  const principal = { client, subject: null, credential: null, scope, bounds: UNBOUND };
  if (tls === undefined) return { ...rest, principal, tls: null };
  const ca = tls.ca_file === undefined ? {} : { ca: readFileSync(beside(tls.ca_file)), requestCert: true };
  return {
    ...rest,
    principal,
    tls: { cert: readFileSync(beside(tls.cert_file)), key: readSecret(beside(tls.key_file)), ...ca },
  };
}
