/** The way to a target: its connections, certificates and authorization. */
import { readFileSync } from 'node:fs';
import {
  type Authorizer,
  bearerAuthorizer,
  NotAuthorized,
  noAuthorizer,
  tokenFromFile,
} from './auth/authorizer.ts';
import { readSecret } from './auth/secret-file.ts';
import { smartAuthorizer } from './auth/smart.ts';
import type { Verdict } from './classify.ts';
import { type Connection, connectTo } from './connection.ts';
import { type ClientTls, createHttp, type SendHttp } from './http.ts';
import type { ConfiguredTarget, TlsFiles } from './target.ts';

export interface OpenOptions {
  readonly env: Readonly<Record<string, string | undefined>>;
  now(): number;
  onVerdict(kind: Verdict['kind']): void;
  /** Told when a server grants other scopes than were asked for. */
  onScope(granted: string): void;
}

export interface OpenTarget {
  readonly connection: Connection;
  readonly authorizer: Authorizer;
  close(): void;
}

/** @throws {Error} when a certificate or its key cannot be read */
export function openTarget(configured: ConfiguredTarget, options: OpenOptions): OpenTarget {
  const { target, tls } = configured;
  const asked = tls === null ? null : () => readTls(tls);
  asked?.();
  const http = createHttp({ timeoutMs: target.timeoutMs, tls: asked });
  const authorizer = authorizerOf(configured, http.send, options);
  const { now, onVerdict } = options;
  const connection = connectTo({ baseUrl: target.baseUrl, http: http.send, authorizer, now, onVerdict });
  return { connection, authorizer, close: http.close };
}

function authorizerOf({ target, auth }: ConfiguredTarget, http: SendHttp, options: OpenOptions): Authorizer {
  switch (auth.type) {
    case 'none':
      return noAuthorizer;
    case 'bearer':
      return bearerAuthorizer(
        auth.tokenFile === undefined
          ? fromEnvironment(auth.tokenEnv ?? '', options.env)
          : tokenFromFile(auth.tokenFile),
      );
    case 'smart':
      return smartAuthorizer({
        ...auth,
        baseUrl: target.baseUrl,
        http,
        now: options.now,
        onScope: options.onScope,
      });
    default:
      return auth satisfies never;
  }
}

const fromEnvironment = (name: string, env: OpenOptions['env']) => (): string => {
  const token = env[name];
  if (token === undefined || token === '') throw new NotAuthorized(`${name} is not in the environment`);
  return token;
};

function readTls({ certFile, keyFile, caFile }: TlsFiles): ClientTls {
  return {
    ...(certFile === undefined ? {} : { cert: readFileSync(certFile, 'utf8') }),
    ...(keyFile === undefined ? {} : { key: readSecret(keyFile) }),
    ...(caFile === undefined ? {} : { ca: readFileSync(caFile, 'utf8') }),
  };
}
